"""The one sentence to read from the door, out of a standing."""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.standing import thresholds as th
from monitor.standing.states import (
    URGENCY,
    Countdown,
    DistrictStanding,
    LatchedWarning,
    LayoutStanding,
    Level,
    Notice,
    State,
    SupplyStanding,
)
from monitor.standing.words import (
    OVERLOAD_RULES,
    WORD_OF_CAUSE,
    countdown_words,
    has_power,
    heat_words,
    late_words,
    notice_now,
    state_word,
    use_words,
)
from monitor.values import Cause
from monitor.words.figures import seconds
from monitor.words.sentences import say

Anywhere = SupplyStanding | DistrictStanding
LISTED = 3
"""Names of silent districts that are listed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The one sentence to read from the door.

    Attributes:
        level: How much attention it asks for.
        sentence: What is the matter, or that nothing is.
        more: What to do, or what comes closest.
        countdown: Of the protection that it is about; None where nothing is expected to open.
        ids: Warnings that it is about, all to be marked as seen at once; empty where it is about none.
        is_latched: It is about what is over.
        district: Where to ask why; empty where that would not help.
    """

    level: Level
    sentence: str
    more: str = ""
    countdown: Countdown | None = None
    ids: tuple[int, ...] = ()
    is_latched: bool = False
    district: str = ""


def headline(standing: LayoutStanding, now_s: float | None = None) -> Headline:
    """Is anything about to open, and where?

    Args:
        standing: How everything stands.
        now_s: The moment to word it for; its own where None.
    """
    now_s = standing.at_s if now_s is None else now_s
    return next(_lines(standing, now_s))


def _lines(standing: LayoutStanding, now_s: float) -> Iterator[Headline]:
    """What could be said, the most urgent first."""
    silent = [district for district in standing.districts if district.state is State.STALE]
    silence = _silence(standing, silent, now_s)
    if silence is not None and _youngest_s(silent, now_s) > th.SILENCE_S:
        yield silence
    urgent = [n for n in standing.notices if n.shelved_until_s is None and n.level is not Level.LOW]
    if urgent:
        # Of two as urgent, what goes on comes before a short that is over for now.
        over = {district.name for district in standing.districts if has_power(district)}
        notice = min(urgent, key=lambda n: (-URGENCY.index(n.level), n.rule == "short" and n.where in over))
        yield _of_notice(notice, standing, silent, now_s)
    if silence is not None:
        yield silence
    if standing.latched:
        yield _of_latched(standing.latched[0], standing, now_s)
    troubles = sorted(_troubles(standing, now_s), key=lambda line: (-URGENCY.index(line.level), line.countdown is None))
    yield from (line for line in troubles if URGENCY.index(line.level) >= URGENCY.index(Level.STALE))
    if silent:
        yield _some_silent(standing, silent)
    yield _calm(standing)


def _of_notice(notice: Notice, standing: LayoutStanding, silent: list[DistrictStanding], now_s: float) -> Headline:
    """A warning that stands; late figures hide nothing, they are told beside it."""
    supply = next((each for each in standing.supplies if each.name == notice.supply), None)
    counts = supply is not None and (notice.rule in OVERLOAD_RULES or notice.opens_as_raised_s is not None)
    sentence, advice = notice_now(notice, standing, now_s)
    return Headline(
        level=notice.level,
        sentence=f"{sentence}.",
        more=" ".join([advice, *_late_words(silent, now_s)]),
        countdown=supply.countdown if supply is not None and counts else None,
        ids=notice.ids,
        district=notice.where if notice.kind == "district" else "",
    )


def _late_words(silent: list[DistrictStanding], now_s: float) -> list[str]:
    read = [district for district in silent if district.figures_at_s is not None]
    if not read:
        return []
    oldest = min(read, key=lambda district: district.figures_at_s or 0.0)
    age, why = seconds(now_s - (oldest.figures_at_s or 0.0)), late_words(oldest)
    return [say("late-figures-why", age=age, why=why) if why else say("late-figures", age=age)]


def _youngest_s(silent: list[DistrictStanding], now_s: float) -> float:
    return min((now_s - d.figures_at_s for d in silent if d.figures_at_s is not None), default=0.0)


def _silence(standing: LayoutStanding, silent: list[DistrictStanding], now_s: float) -> Headline | None:
    """No district has live figures; None where some has."""
    if len(silent) < len(standing.districts) or not silent:
        return None
    if all(district.figures_at_s is None for district in silent):
        return Headline(level=Level.STALE, sentence=say("unknown"), more=standing.port or say("waiting"))
    why = next((words for district in silent if (words := late_words(district))), "")
    old = say("because", why=_capital(why)) if why else say("silence-old")
    sentence = say("silence", age=seconds(_youngest_s(silent, now_s)))
    return Headline(level=Level.STALE, sentence=sentence, more=standing.port or old)


def _of_latched(latched: LatchedWarning, standing: LayoutStanding, now_s: float) -> Headline:
    places: dict[str, Anywhere] = {district.name: district for district in standing.districts}
    places |= {supply.name: supply for supply in standing.supplies}
    place = places.get(latched.where) or places.get(latched.supply)
    now = _now_there(latched, place)
    sentence = say(
        f"latched-{latched.kind}",
        where=latched.where,
        age=seconds(now_s - (latched.start_s if latched.kind == "opening" else latched.end_s)),
        now=say(now),
    )
    district = latched.where if latched.kind == "short" else ""
    # Where power is gone it may return at any moment.
    more = say("do-opened", where=latched.supply) if now == "now-dead" else say(f"do-{latched.kind}", where=latched.where)
    return Headline(level=Level.MEDIUM, sentence=sentence, more=more, ids=latched.ids, is_latched=True, district=district)


def _now_there(latched: LatchedWarning, place: Anywhere | None) -> str:
    if place is None or place.state is State.STALE or (isinstance(place, DistrictStanding) and place.doubt):
        return "now-unknown"
    if not has_power(place):
        return "now-dead"
    return "now-on" if latched.kind == "overload" else "now-power"


def _troubles(standing: LayoutStanding, now_s: float) -> Iterator[Headline]:
    """What no warning speaks of: a fault that goes on, power that is gone, a draw near or over a limit."""
    for supply in standing.supplies:
        if supply.state is State.OVERLOADED and supply.countdown is not None:
            sentence = say("overload-if", where=supply.name, left=countdown_words(supply.countdown, now_s))
            more = heat_words(supply, now_s) or use_words(supply)
            yield Headline(level=supply.level, sentence=sentence, more=f"{more}.", countdown=supply.countdown)
        elif supply.state in (State.OVERLOADED, State.NEAR):
            sentence = say("over-head" if supply.state is State.OVERLOADED else "near-head", where=supply.name)
            safe = f" {say('not-expected')}" if supply.heat is not None else f" {_capital(supply.guard)}."
            use = use_words(supply)
            yield Headline(level=supply.level, sentence=sentence, more=f"{_capital(use)}.{safe}" if use else "")
        elif supply.state is State.NO_POWER and supply.level is not Level.REST:
            yield Headline(
                level=supply.level,
                sentence=say("dead-where", where=supply.name, word=state_word(supply, now_s)),
                more=heat_words(supply, now_s),
            )
    for district in standing.districts:
        yield from _district_trouble(district, now_s)


def _district_trouble(district: DistrictStanding, now_s: float) -> Iterator[Headline]:
    since = say("since", age=seconds(now_s - district.since_s)) if district.since_s is not None else ""
    if district.state is State.SHORT:
        sentence = say("short-now", where=district.name)
    elif district.state is State.NO_POWER and district.level is not Level.REST:
        sentence = say("dead-where", where=district.name, word=state_word(district, now_s))
    elif district.state in (State.OVERLOADED, State.NEAR):
        sentence = say("over-head" if district.state is State.OVERLOADED else "near-head", where=district.limit or district.name)
    elif district.cause:
        sentence = say("cause-where", where=district.name, cause=WORD_OF_CAUSE[Cause(district.cause)])
    else:
        return
    yield Headline(level=district.level, sentence=sentence, more=since, district=district.name)


def _some_silent(standing: LayoutStanding, silent: list[DistrictStanding]) -> Headline:
    names = ", ".join(district.name for district in silent[:LISTED])
    names = say("others", names=names) if len(silent) > LISTED else names
    sentence = say("some-silent", n=len(silent), all=len(standing.districts))
    return Headline(level=Level.STALE, sentence=sentence, more=say("some-silent-who", names=names))


def _calm(standing: LayoutStanding) -> Headline:
    """Nothing is wrong; that nothing is near its limit is said only where that is known of every supply."""
    measured = {district.supply for district in standing.districts}
    if any(supply.state is State.STALE for supply in standing.supplies if supply.name in measured):
        return Headline(level=Level.WELL, sentence=say("calm-unjudged"), more=say("unjudged"))
    closest = max((s for s in standing.supplies if s.share is not None), key=lambda s: s.share or 0.0, default=None)
    more = say("closest", where=closest.name, use=use_words(closest)) if closest is not None and use_words(closest) else ""
    return Headline(level=Level.WELL, sentence=say("calm"), more=more)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
