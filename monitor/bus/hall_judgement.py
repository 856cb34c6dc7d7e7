"""How bad it is: trouble and reasons of districts and stations, from what they say and what they no longer say."""

from collections.abc import Iterator
from dataclasses import replace

from monitor.bus.hall_values import CLOCK_OFF_S, NEAR_LIMIT, STALE_AFTER_S, StationView, Trouble, worst
from monitor.bus.payloads import WarningNote


def district_trouble(warnings: tuple[WarningNote, ...], age_s: float | None, *, doubtful: bool) -> Trouble:
    """How a district stands.

    Args:
        warnings: Those about it, worst first.
        age_s: Age of its figures; None where none came.
        doubtful: Its sensor is known to lie.
    """
    found: list[Trouble] = [warnings[0].priority] if warnings else []
    if age_s is None or age_s > STALE_AFTER_S:
        found.append("silent")
    if doubtful:
        found.append("low")
    return worst(tuple(found))


def judged(station: StationView) -> StationView:
    """The view with trouble and reasons filled in from everything else in it."""
    if station.state == "gone":
        return replace(station, trouble="gone", reasons=("It ended in order.",))
    found = sorted(_found(station), key=lambda each: _SEVERITY[each[0]])
    return replace(
        station, trouble=worst(tuple(trouble for trouble, _ in found)), reasons=tuple(sentence for _, sentence in found)
    )


_SEVERITY = {"high": 0, "silent": 1, "medium": 2, "low": 3}


def _found(station: StationView) -> Iterator[tuple[Trouble, str]]:
    for note in station.warnings:
        yield note.priority, note.message
    yield from _silence(station)
    doubtful = [district.name for district in station.districts if district.doubtful]
    if doubtful:
        yield "low", f"Do not trust the figures of {_listed(doubtful)}: the sensing there is at fault."
    for supply in station.supplies:
        if supply.share is not None and supply.share >= NEAR_LIMIT:
            yield "low", f"{supply.name} is at {100 * supply.share:.0f} % of its limit."
    yield from _sending(station)


def _silence(station: StationView) -> Iterator[tuple[Trouble, str]]:
    if station.state == "lost":
        yield "silent", "It vanished: switched off, cut off from the network, or ended by force."
    elif station.state == "silent":
        heard = "Nothing has come from it" if station.heard_s_ago is None else f"Nothing has come for {station.heard_s_ago:.0f} s"
        yield "silent", f"{heard}: look at its computer and its network."
    else:
        stale = [district.name for district in station.districts if district.is_stale]
        if stale:
            yield "silent", f"No fresh figures of {_listed(stale)}: look at the board and its cable."


def _sending(station: StationView) -> Iterator[tuple[Trouble, str]]:
    if station.is_double:
        yield "low", "Two computers speak in its name: give one of them another with --station."
    if station.clock_ahead_s is not None and abs(station.clock_ahead_s) >= CLOCK_OFF_S:
        way = "ahead" if station.clock_ahead_s > 0 else "behind"
        yield "low", f"Its clock is {abs(station.clock_ahead_s):.0f} s {way}: set it, or its records carry wrong times."
    if station.lost:
        yield "low", f"{station.lost} warnings or events were lost while it waited for the broker."
    if station.thinned:
        yield "low", f"{station.thinned} messages of readings gave way while it waited for the broker."


def _listed(names: list[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
