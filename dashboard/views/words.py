"""How a district and the whole layout stand, in words a helping visitor understands."""

import re
from dataclasses import dataclass
from enum import StrEnum

from dashboard.views.figures import percent, seconds
from dashboard.views.headroom import fresh_load, heat_words, message_now, opening, supply_room
from dashboard.views.shares import SupplyShare
from monitor.layout import District, Layout
from monitor.runtime import DistrictNow, Picture, StandingWarning
from monitor.values import Cause, Priority
from monitor.values import Warning as RaisedWarning

NO_VOLTS = 1.0
NO_AMPS = 0.1
NEAR_SHARE, HEAVY_SHARE = 0.9, 0.75


class Level(StrEnum):
    """How much attention a thing asks for; each has its own word, strokes and colour on the page."""

    REST = "rest"
    WELL = "well"
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"
    DOUBT = "doubt"
    STALE = "stale"


LEVEL_OF_PRIORITY = {Priority.LOW: Level.LOW, Priority.MEDIUM: Level.MEDIUM, Priority.HIGH: Level.HIGH}
WORD_OF_PRIORITY = {Priority.LOW: "know it", Priority.MEDIUM: "act soon", Priority.HIGH: "act now"}
MEANING_OF_PRIORITY = {
    Priority.HIGH: "at once, or trains stop and things may be damaged",
    Priority.MEDIUM: "within the next minutes: more is drawn than is allowed for long",
    Priority.LOW: "when convenient: nothing is wrong yet",
}
WORD_OF_FINDING = {
    "clipped": "sensor clips",
    "stuck": "sensor stuck",
    "reversed": "sensor reversed",
    "noisy": "sensor noisy",
    "crossed": "sensors crossed",
    "zero-drift": "zero drifted",
    "supply-low": "board volts low",
    "pulses": "pulses: not measured",
    "other-mains": "other mains frequency",
    "supply-wanders": "board volts wander",
}
WORD_OF_PORT = {
    "opening": "cannot be opened",
    "reading": "talking",
    "silent": "silent",
    "lost": "unplugged",
    "not-understood": "not understood",
    "wrong-baud": "wrong baud rate",
    "stranger": "unknown board",
}
SILENCE_S = 15.0
"""Where nothing came for so long, a warning that still stands says nothing about now; before that, late figures hide no act-now."""
LATCHED_FOR_S = 300.0
"""So long an act-now warning that is over stays the headline, unless it is marked as seen."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How something stands.

    Attributes:
        level: How much attention it asks for.
        word: In few words.
    """

    level: Level
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The one sentence to read from the door.

    Attributes:
        level: How much attention it asks for.
        sentence: What is the matter, or that nothing is.
        more: What to do, or what comes closest.
        opens_in_s: Seconds until something is expected to open; None where nothing is.
        warning_id: The warning that it tells of; None where it tells of none.
    """

    level: Level
    sentence: str
    more: str
    opens_in_s: float | None = None
    warning_id: int | None = None


def district_standing(row: District, now: DistrictNow, share: float | None, picture: Picture) -> Standing:
    """How a district itself stands: doubt about the figures first, then its power, its warnings, and what goes on.

    What troubles its supply is shown at the supply: a district that runs well says so.
    """
    if now.age_s is None:
        return Standing(level=Level.STALE, word="no figures yet")
    if now.is_stale:
        return Standing(level=Level.STALE, word=f"stale, {seconds(now.age_s)} old")
    if not now.is_good:
        kind = now.findings[0].kind.value if now.findings else ""
        return Standing(level=Level.DOUBT, word=WORD_OF_FINDING.get(kind, "sensor in doubt"))
    load = fresh_load(picture, row.supply)
    if load is not None and load.is_open and has_no_power(now):
        return Standing(level=Level.MEDIUM, word="no power: protection open")
    return _trouble_of(row, picture) or _draw_standing(row, now, share)


def _trouble_of(row: District, picture: Picture) -> Standing | None:
    own = [s.warning for s in picture.warnings if s.shelved_until_s is None and _touches(row, s)]
    if own:
        worst = max(own, key=lambda warning: warning.priority)
        return Standing(level=LEVEL_OF_PRIORITY[worst.priority], word=WORD_OF_PRIORITY[worst.priority])
    going_on = next((e for e in picture.events if e.district == row.name and e.end_s is None and e.cause.is_fault), None)
    return None if going_on is None else Standing(level=Level.LOW, word=WORD_OF_CAUSE[going_on.cause])


def has_no_power(now: DistrictNow) -> bool:
    """Whether nothing arrives there."""
    return now.volts_rms is not None and now.volts_rms < NO_VOLTS


def _draw_standing(row: District, now: DistrictNow, share: float | None) -> Standing:
    if has_no_power(now):
        return Standing(level=Level.REST, word="no volts")
    if share is not None and share >= 1:
        return Standing(level=Level.LOW, word="over its limit")
    if share is not None and share >= NEAR_SHARE:
        return Standing(level=Level.LOW, word="near its limit")
    if now.amps_rms is not None and now.amps_rms < NO_AMPS:
        return Standing(level=Level.REST, word="draws nothing")
    if share is not None and share >= HEAVY_SHARE:
        return Standing(level=Level.WELL, word="heavy draw")
    return Standing(level=Level.WELL, word="running" if row.use == "track" else "on")


def supply_standing(load: SupplyShare, warnings: tuple[StandingWarning, ...]) -> Standing:
    """How a supply stands."""
    if load.share is None:
        return Standing(level=Level.STALE, word="no live figures")
    own = [
        s.warning
        for s in warnings
        if s.shelved_until_s is None and s.warning.scope.kind == "supply" and s.warning.scope.name == load.name
    ]
    if own:
        worst = max(own, key=lambda warning: warning.priority)
        return Standing(level=LEVEL_OF_PRIORITY[worst.priority], word=WORD_OF_PRIORITY[worst.priority])
    if load.unknown:
        return Standing(level=Level.DOUBT, word=f"at least: {len(load.unknown)} unknown")
    if load.share >= 1:
        return Standing(level=Level.LOW, word="over its plate")
    return Standing(level=Level.WELL, word="near its plate" if load.share >= NEAR_SHARE else "within its plate")


def headline(layout: Layout, picture: Picture, loads: tuple[SupplyShare, ...]) -> Headline:
    """Is anything about to open, and where?"""
    silent = [d for d in picture.districts if d.is_stale]
    all_silent = bool(layout.district) and len(silent) == len(layout.district)
    if all_silent and min((d.age_s for d in silent if d.age_s is not None), default=0.0) > SILENCE_S:
        return _silence(picture)
    for standing in picture.warnings:
        least = Priority.MEDIUM if all_silent else Priority.LOW
        if standing.shelved_until_s is None and standing.warning.priority > least:
            return _of_warning(standing, picture, silent)
    if all_silent:
        return _silence(picture)
    latched = _latched(picture)
    if latched is not None:
        return latched
    if silent:
        names = ", ".join(d.name for d in silent[:3]) + (" and others" if len(silent) > 3 else "")
        return Headline(
            level=Level.STALE,
            sentence=f"{len(silent)} of {len(layout.district)} districts without live figures",
            more=f"{names}: nothing can be said about them now.",
        )
    calm = Headline(level=Level.WELL, sentence="Nothing is near its limit", more=_closest(picture, loads))
    return _trouble_without_warning(picture, loads) or calm


def _of_warning(standing: StandingWarning, picture: Picture, silent: list[DistrictNow]) -> Headline:
    """A standing warning; late figures hide nothing, they are told beside it."""
    warning, opens = standing.warning, opening(standing, picture)
    ages = [now.age_s for now in silent if now.age_s is not None]
    late = f" The figures are {seconds(max(ages))} old." if ages else ""
    return Headline(
        level=LEVEL_OF_PRIORITY[warning.priority],
        sentence=first_sentence(message_now(standing, picture)),
        more=f"{warning.advice}{late}",
        opens_in_s=None if opens is None else opens.in_s,
        warning_id=warning.id,
    )


def _latched(picture: Picture) -> Headline | None:
    """An act-now warning that is over and that has not been marked as seen; None where there is none of the last minutes.

    A short of a tenth of a second is gone before anybody looks up (ISA-18.2: returned to normal, not acknowledged).
    """
    for warning in picture.past_warnings:
        ago_s = picture.now_s - (warning.end_s or warning.start_s)
        if is_unseen(warning) and warning.priority >= Priority.HIGH and ago_s <= LATCHED_FOR_S:
            return Headline(
                level=Level.MEDIUM,
                sentence=f"{warning.scope.name}, {seconds(ago_s)} ago: {first_sentence(warning.message)}",
                more="It is over. Look there before you go on, then mark it as seen.",
                warning_id=warning.id,
            )
    return None


def is_unseen(warning: RaisedWarning) -> bool:
    """Whether a warning that is over asked for somebody and has not been marked as seen."""
    return warning.state == "returned" and warning.priority > Priority.LOW


def first_sentence(text: str) -> str:
    """What can be read from the door; the rest stands in the list."""
    return re.split(r"(?<=[.!?])\s+(?=[A-Z])", text, maxsplit=1)[0]


def _silence(picture: Picture) -> Headline:
    ages = [d.age_s for d in picture.districts if d.age_s is not None]
    trouble = next((port.sentence for port in picture.ports if not port.is_well), "")
    if not ages:
        return Headline(level=Level.STALE, sentence="No figures yet", more=trouble or "Waiting for the sensor board.")
    return Headline(
        level=Level.STALE,
        sentence=f"No live figures for {seconds(min(ages))}",
        more=trouble or "The sensor board is silent: what is shown is old.",
    )


def _shares(loads: tuple[SupplyShare, ...]) -> list[tuple[float, str]]:
    found = [(load.share, f"{load.name} carries {percent(load.share)} of its plate") for load in loads if load.share is not None]
    for load in loads:
        for output in load.outputs:
            if output.share is not None:
                where = f"{load.name}, output {output.name}"
                found.append((output.share, f"{where} carries {percent(output.share)} of its limit"))
    return sorted(found, reverse=True)


def _trouble_without_warning(picture: Picture, loads: tuple[SupplyShare, ...]) -> Headline | None:
    """What no warning speaks of: a fault that goes on, or a draw near a limit. None where there is neither."""
    shares = sorted([*_binding_shares(picture, loads), *_shares(loads)], key=lambda found: found[0], reverse=True)
    loaded = Headline(level=Level.LOW, sentence=shares[0][1], more=_comes_next(picture, loads)) if shares else None
    if loaded is not None and shares[0][0] >= 1:
        return loaded
    going_on = next((event for event in picture.events if event.end_s is None and event.cause.is_fault), None)
    if going_on is not None:
        since = f"It began {seconds(picture.now_s - going_on.start_s)} ago."
        return Headline(level=Level.LOW, sentence=f"{going_on.district}: {WORD_OF_CAUSE[going_on.cause]}", more=since)
    return loaded if shares and shares[0][0] >= NEAR_SHARE else None


def _binding_shares(picture: Picture, loads: tuple[SupplyShare, ...]) -> list[tuple[float, str]]:
    """What binds each supply, as the judge says: the winding or the protection may bind long before the plate does."""
    judged = [found for load in loads if (found := fresh_load(picture, load.name)) is not None and supply_room(found)]
    return [(load.headroom.share, f"{load.name}: {supply_room(load)}") for load in judged if load.headroom.share is not None]


def _comes_next(picture: Picture, loads: tuple[SupplyShare, ...]) -> str:
    """Whether a protection would open at this draw; without that, a draw near a limit may pass."""
    for load in loads:
        judged = fresh_load(picture, load.name)
        if judged is not None and judged.forecast is not None:
            return f"{heat_words(judged, picture.now_s)}."
    return "At this draw nothing is expected to open."


def _closest(picture: Picture, loads: tuple[SupplyShare, ...]) -> str:
    """What binds most, as the judge says; by the plates alone where the judge has said nothing lately."""
    judged = [found for load in loads if (found := fresh_load(picture, load.name)) is not None and supply_room(found)]
    if judged:
        room = supply_room(max(judged, key=lambda load: load.headroom.share or 0.0))
        return f"Closest: {room[0].lower()}{room[1:]}."
    shares = _shares(loads)
    return f"Closest: {shares[0][1]}." if shares else ""


def _touches(row: District, standing: StandingWarning) -> bool:
    scope = standing.warning.scope
    return scope.name == {"district": row.name, "output": row.output_name}.get(scope.kind)
