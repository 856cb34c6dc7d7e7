"""The words of a standing at a moment; the sentences themselves stand in :mod:`monitor.standing.sentences`."""

import math
import re

from monitor.protection.words import span, time_left
from monitor.standing import thresholds as th
from monitor.standing.sentences import say
from monitor.standing.states import Countdown, DistrictStanding, Flood, LayoutStanding, Level, Notice, State, SupplyStanding
from monitor.values import Cause, FindingKind, PlaceLoad, PortState, TripForecast

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


def percent(share: float | None) -> str:
    """A share as per cent, without decimals."""
    return "–" if share is None or not math.isfinite(share) else f"{share * 100:.0f} %"


def seconds(value: float) -> str:
    """A span in words a person uses: "8 s", "2 min 5 s", "3 h 4 min"."""
    whole = max(0, round(value))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 and whole < 600 else f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def first_sentence(text: str) -> str:
    """What can be read from the door; the rest stands in the list."""
    return re.split(r"(?<=[.!?])\s+(?=[A-Z])", text, maxsplit=1)[0]


def left_words(amps: float | None, va: float | None) -> str:
    """Amps and VA without their sign."""
    return "" if amps is None else f"{abs(amps):.1f} A" + (f" ({abs(va):.0f} VA)" if va is not None else "")


def room(place: PlaceLoad) -> str:
    """What still fits on a district; empty where nobody knows."""
    left = place.headroom
    if place.amps is None or left.amps_left is None or left.amps_left <= 0:
        return ""
    amount = left_words(left.amps_left, left.va_left)
    return say("fits", left=amount, fits=left.sentence) if left.sentence else ""


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
        has_points=countdown.has_points,
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


def use_words(supply: SupplyStanding) -> str:
    """Which limit binds, what of it is used and what is left; empty where nothing can be said of it."""
    if supply.share is None or not supply.limit:
        return ""
    left, share = left_words(supply.amps_left, supply.va_left), percent(supply.share)
    key = "use" if not left else "use-left" if (supply.amps_left or 0.0) >= 0 else "use-over"
    words = say(key, share=share, limit=supply.limit, left=left)
    return say("some-unread", use=words) if supply.unknown else words


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
    back = say("back-hand")
    if supply.closes_at_s is not None:
        back = say("back-itself", left=_in_about(supply.closes_at_s - now_s))
    age = seconds(now_s - (now_s if supply.since_s is None else supply.since_s))
    return say("cooling", age=age, heat=percent(heat), back=back)


def notice_words(notice: Notice, standing: LayoutStanding, now_s: float) -> str:
    """What a warning says now: facts of its place's standing; the warning's own sentence where that says no more."""
    district = next((each for each in standing.districts if each.name == notice.where), None)
    supply = next((each for each in standing.supplies if each.name == notice.supply), None)
    if notice.rule == "short" and district is not None:
        over = "short-again" if notice.comes_and_goes else "short-over"
        return say(over if has_power(district) else "short-now", where=notice.where)
    if supply is None or supply.state is State.STALE:
        return _as_raised(notice, supply, now_s)
    if notice.rule == "protection-open" and has_power(supply):
        return say("opened-over", where=notice.where, age=seconds(now_s - notice.start_s))
    if notice.kind == "supply" and notice.rule in DRAW_RULES:
        return _overload(notice, supply, now_s)
    return _as_raised(notice, supply, now_s)


def full_message(notice: Notice, standing: LayoutStanding, now_s: float) -> str:
    """The same with what brought it about."""
    return " ".join([f"{notice_words(notice, standing, now_s)}.", notice.source]).strip()


def _overload(notice: Notice, supply: SupplyStanding, now_s: float) -> str:
    where, use = notice.where, use_words(supply)
    if supply.state is State.OVERLOADED and supply.countdown is not None:
        return say("overload-opens", where=where, left=countdown_words(supply.countdown, now_s))
    if not use or not has_power(supply):
        return _as_raised(notice, supply, now_s)
    if supply.state is State.OVERLOADED:
        return say("overload", where=where, use=use, guard=supply.guard)
    past = "overload-again" if notice.comes_and_goes else "overload-past"
    return say("near-now" if notice.rule == "near-limit" else past, where=where, use=use)


def _as_raised(notice: Notice, supply: SupplyStanding | None, now_s: float) -> str:
    """The warning's own sentence, with the time that is left now in place of what was left when it rose."""
    figure = notice.figure.rstrip(".")
    if not notice.time_words:
        return figure
    if notice.rule == "protection-open":
        closes_s = supply.closes_at_s if supply is not None else None
        closes_s = notice.opens_as_raised_s if closes_s is None else closes_s
        words = notice.time_words if closes_s is None else _in_about(closes_s - now_s)
    elif supply is not None and supply.countdown is not None:
        words = countdown_words(supply.countdown, now_s)
    else:
        words = _in_about((notice.opens_as_raised_s or now_s) - now_s)
    return figure.replace(notice.time_words, words, 1)


def _in_about(left_s: float) -> str:
    return say("left-raised", span=span(left_s)) if left_s >= th.DULL_S else say("left-now")


def has_power(standing: DistrictStanding | SupplyStanding) -> bool:
    """Whether figures of now show that power arrives and no short."""
    return standing.state not in (State.STALE, State.NO_POWER, State.SHORT)


def flood_words(flood: Flood, standing: LayoutStanding) -> tuple[str, str]:
    """What a flood says now, and what to do."""
    first = say("flood-first", where=flood.first_where) if flood.first_where else ""
    stands = any(notice.shelved_until_s is None for notice in standing.notices)
    return say("flood", n=flood.count, first=first), say(
        "flood-do" if stands and first else "flood-over" if not stands else "flood-look"
    )
