"""The words of a standing at a moment; the sentences themselves stand in :mod:`monitor.words.sentences`."""

import re

from monitor.protection.words import time_left
from monitor.standing import thresholds as th
from monitor.standing.states import Countdown, DistrictStanding, Flood, LayoutStanding, Level, Notice, State, SupplyStanding
from monitor.values import Cause, FindingKind, PlaceLoad, PortState, TripForecast
from monitor.words.figures import amps_va, percent, seconds, span
from monitor.words.sentences import say

AT_LEAST = ("", "≥\u00a0")
"""What stands before a figure, and before one that is a lower bound since a sensor's range ended there."""
WORD_OF_LEVEL = {Level.LOW: "no hurry", Level.MEDIUM: "act soon", Level.HIGH: "act now"}
MEANING_OF_LEVEL = {
    Level.HIGH: "at once, or trains stop and things may be damaged",
    Level.MEDIUM: "within the next minutes: more is drawn than is allowed for long",
    Level.LOW: "when convenient: nothing is wrong yet",
}
WORD_OF_FINDING = {
    FindingKind.CLIPPED.value: "sensor clips",
    FindingKind.STUCK.value: "sensor stuck",
    FindingKind.REVERSED.value: "sensor reversed",
    FindingKind.NOISY.value: "sensor noisy",
    FindingKind.CROSSED.value: "sensors crossed",
    FindingKind.ZERO_DRIFT.value: "zero drifted",
    FindingKind.SUPPLY_LOW.value: "board volts low",
    FindingKind.PULSES.value: "pulses: not measured",
    FindingKind.OTHER_MAINS.value: "other mains frequency",
    FindingKind.SUPPLY_WANDERS.value: "board volts wander",
}
"""Kinds without a word here leave a sensor in doubt."""
WORD_OF_PORT: dict[PortState, str] = {
    "opening": "cannot be opened",
    "reading": "talking",
    "silent": "silent",
    "lost": "unplugged",
    "not-understood": "not understood",
    "wrong-baud": "wrong baud rate",
    "stranger": "unknown board",
}
WORD_OF_CAUSE = {
    Cause.LOST_CONTACT: "lost contact",
    Cause.SHORT: "short circuit",
    Cause.PROTECTION_OPEN: "protection is open",
    Cause.SUPPLY_SAG: "supply sags",
    Cause.MAINS_DIP: "mains dip",
    Cause.FEED_LOST: "feed is lost",
    Cause.BINDING: "motor labours",
    Cause.WEAK_JOINT: "weak joint",
    Cause.DIRECTION_BREAK: "stepped by hand",
    Cause.DC_SIGNAL: "whistle or bell",
    Cause.THROTTLE: "throttle moved",
}
OVERLOAD_RULES = (
    "trip-forecast",
    "over-nameplate",
    "over-winding",
    "over-protection-rating",
    "over-output-limit",
    "over-feeder-ampacity",
)
DRAW_RULES = (*OVERLOAD_RULES, "near-limit")
"""Rules that hold a draw against a limit: warnings of one place by them say the same."""


def first_sentence(text: str) -> str:
    """What can be read from the door; the rest stands in the list."""
    return re.split(r"(?<=[.!?])\s+(?=[A-Z])", text, maxsplit=1)[0]


def room(place: PlaceLoad) -> str:
    """What still fits on a district; empty where no one knows."""
    left = place.headroom
    if place.amps is None or left.amps_left is None or left.amps_left <= 0:
        return ""
    return say("fits", left=amps_va(left.amps_left, left.va_left), fits=left.sentence) if left.sentence else ""


def countdown_words(countdown: Countdown, now_s: float) -> str:
    """How long until it opens: the one wording of the one countdown."""
    in_s = max(0.0, countdown.opens_at_s - now_s)
    if not countdown.is_bounded or (in_s < th.DULL_S and not countdown.is_late):
        return _in_about(in_s)
    latest_s = countdown.latest_at_s
    ahead = TripForecast(
        in_s=in_s,
        earliest_s=max(0.0, countdown.earliest_at_s - now_s),
        latest_s=None if latest_s is None else max(0.0, latest_s - now_s),
        by_lap=False,
        is_late=countdown.is_late,
    )
    return time_left(ahead)


def late_words(standing: DistrictStanding | SupplyStanding) -> str:
    """Why figures are old; empty where that is not known."""
    return say(f"late-{standing.late}") if standing.late not in ("", "none-yet") else ""


def state_word(standing: DistrictStanding | SupplyStanding, now_s: float) -> str:
    """The word of a chip."""
    word = _word(standing, now_s)
    if isinstance(standing, DistrictStanding):
        if standing.doubt:
            return WORD_OF_FINDING.get(standing.doubt, say("unsure"))
        if standing.state in (State.RUNNING, State.RESTING) and standing.level in (Level.MEDIUM, Level.HIGH):
            return WORD_OF_LEVEL[standing.level]
        if standing.cause and standing.state in (State.RUNNING, State.RESTING):
            return WORD_OF_CAUSE[Cause(standing.cause)]
    elif standing.unknown and standing.state is not State.STALE:
        return say("at-least", word=word, n=standing.unknown)
    return word


def _word(standing: DistrictStanding | SupplyStanding, now_s: float) -> str:
    if standing.state is State.STALE:
        return _stale_word(standing, now_s)
    if standing.state is State.NO_POWER:
        return say(f"dead-{standing.no_power}" if standing.no_power else "dead")
    if isinstance(standing, SupplyStanding) and standing.countdown is not None:
        key = "short-opens" if standing.state is State.SHORT else "over-opens"
        return say(key, left=countdown_words(standing.countdown, now_s))
    is_on = isinstance(standing, DistrictStanding) and standing.use == "accessories"
    keys = {State.RUNNING: "on" if is_on else "running", State.RESTING: "resting", State.NEAR: "near", State.OVERLOADED: "over"}
    return say(keys.get(standing.state, "short"))


def _stale_word(standing: DistrictStanding | SupplyStanding, now_s: float) -> str:
    if standing.figures_at_s is None:
        return say("unread")
    if now_s - standing.figures_at_s <= th.STALE_AFTER_S:
        return say("draw-unknown")
    age, why = seconds(now_s - standing.figures_at_s), late_words(standing)
    return say("stale-late", age=age, why=why) if why else say("stale", age=age)


def use_words(place: SupplyStanding | DistrictStanding) -> str:
    """Which limit binds, what of it is used and what is left; empty where nothing can be said of it."""
    if place.share is None or not place.limit:
        return ""
    words = say("use", share=percent(place.share), limit=place.limit)
    if isinstance(place, DistrictStanding):
        return words
    amps, va = place.amps_left, place.va_left
    if amps is not None:
        left = amps_va(abs(amps), None if va is None else abs(va))
        words = say("use-left" if amps >= 0 else "use-over", use=words, left=left)
    return say("some-unread", use=words) if place.unknown else words


def heat_words(supply: SupplyStanding, now_s: float) -> str:
    """How hot the protection is, or since when it is open and how it closes."""
    if supply.heat is None:
        return ""
    if supply.state is State.NO_POWER:
        return _cooling(supply, supply.heat, now_s) if supply.no_power == "protection" else ""
    low, high = supply.heat_lowest, supply.heat_highest
    is_wide = low is not None and high is not None and high - low > th.WIDE_HEAT
    words = say(
        "heat", heat=percent(supply.heat), bounds=say("heat-bounds", low=percent(low), high=percent(high)) if is_wide else ""
    )
    return words if supply.countdown is None else say("heat-opens", heat=words, left=countdown_words(supply.countdown, now_s))


def _cooling(supply: SupplyStanding, heat: float, now_s: float) -> str:
    back = supply.back or say("back-unknown")
    if supply.closes_at_s is not None:
        back = say("back-itself", left=_in_about(supply.closes_at_s - now_s))
    age = seconds(now_s - (now_s if supply.since_s is None else supply.since_s))
    return say("cooling", age=age, heat=percent(heat), back=back)


def notice_now(notice: Notice, standing: LayoutStanding, now_s: float) -> tuple[str, str]:
    """What a warning says now and what to do: facts of its place's standing; as it rose where the standing says no more."""
    supply = next((each for each in standing.supplies if each.name == notice.supply), None)
    district = next((each for each in standing.districts if each.name == notice.where), None)
    if notice.rule == "short" and district is not None:
        return _short(notice, district, now_s)
    if supply is not None and notice.rule == "protection-open" and has_power(supply):
        return say("opened-over", where=notice.where, age=seconds(now_s - notice.start_s)), say("do-opening", where=supply.name)
    if supply is not None and notice.rule in DRAW_RULES:
        return _draw(notice, standing, supply, now_s)
    return _as_raised(notice, supply, now_s), notice.advice


def full_message(notice: Notice, standing: LayoutStanding, now_s: float) -> tuple[str, str]:
    """The same, with what brought it about."""
    sentence, advice = notice_now(notice, standing, now_s)
    return f"{sentence}. {notice.source}".strip(), advice


def past_words(message: str, time_words: str) -> str:
    """What a warning said, without the clause that told how long was left."""
    figure = first_sentence(message)
    return (figure.partition(time_words)[0].rpartition("; ")[0] if time_words else "") or figure.rstrip(".")


def _short(notice: Notice, district: DistrictStanding, now_s: float) -> tuple[str, str]:
    if has_power(district):
        if notice.comes_and_goes:
            return say("short-again", where=notice.where), notice.advice
        return say("short-over", where=notice.where), say("do-short", where=notice.where)
    if district.state is State.NO_POWER:
        return say("short-dead", where=notice.where), say("do-short", where=notice.where)
    is_old = district.state is State.STALE and now_s - (district.figures_at_s or 0.0) > th.SILENCE_S
    return say("short-unknown" if is_old else "short-now", where=notice.where), notice.advice


def _draw(notice: Notice, standing: LayoutStanding, supply: SupplyStanding, now_s: float) -> tuple[str, str]:
    """Of a draw that was held against a limit."""
    where, is_near = notice.where, notice.rule == "near-limit"
    if supply.state is State.STALE:
        return say("near-unknown" if is_near else "overload-unknown", where=where), notice.advice
    place: SupplyStanding | DistrictStanding | None = supply
    if notice.kind != "supply":
        place = next((d for d in standing.districts if d.limit == notice.limit and d.supply == supply.name), None)
    if not has_power(supply) or (place is not None and not has_power(place)):
        return say("overload-cut", where=where), say("do-opened", where=supply.name)
    counts = supply.state is State.OVERLOADED and supply.countdown is not None
    if counts and place is supply:
        return say("overload-opens", where=where, left=_left(supply, now_s)), notice.advice
    use = use_words(place) if place is not None else ""
    if place is None or not use:
        return _as_raised(notice, supply, now_s), notice.advice
    if place.state is State.OVERLOADED:
        guard = say("over-will-open", left=_left(supply, now_s)) if counts else supply.guard
        return say("overload", where=where, use=use, guard=guard), notice.advice
    key = "near-now" if is_near else "overload-again" if notice.comes_and_goes else "overload-past"
    return say(key, where=where, use=use), notice.advice if key == "overload-again" else say("do-near")


def _left(supply: SupplyStanding, now_s: float) -> str:
    return countdown_words(supply.countdown, now_s) if supply.countdown is not None else ""


def _as_raised(notice: Notice, supply: SupplyStanding | None, now_s: float) -> str:
    """The warning's own sentence, with the time that is left now in place of what was left when it rose."""
    figure = notice.figure.rstrip(".")
    if notice.rule == "protection-open" and notice.time_words and supply is not None and supply.closes_at_s is not None:
        return figure.replace(notice.time_words, _in_about(supply.closes_at_s - now_s), 1)
    if notice.time_words and supply is not None and supply.countdown is not None:
        return figure.replace(notice.time_words, countdown_words(supply.countdown, now_s), 1)
    return past_words(notice.figure, notice.time_words)


def _in_about(left_s: float) -> str:
    return say("left-raised", span=span(left_s)) if left_s >= th.DULL_S else say("left-now")


def has_power(standing: DistrictStanding | SupplyStanding) -> bool:
    """Whether figures of now show that power arrives and no short."""
    return standing.state not in (State.STALE, State.NO_POWER, State.SHORT)


def flood_words(flood: Flood, standing: LayoutStanding) -> tuple[str, str]:
    """What a flood says now, and what to do."""
    first = say("flood-first", where=flood.first_where) if flood.first_where else ""
    stands = any(notice.shelved_until_s is None for notice in standing.notices)
    return say("flood-rise", n=flood.count, first=first), say(
        "flood-do" if stands and first else "flood-over" if not stands else "flood-look"
    )
