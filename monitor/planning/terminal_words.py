"""A supply's terminals in words: the answer as a card, what each pair of posts gives as a table, and the machine-readable form."""

from collections.abc import Iterator
from typing import Literal

from monitor.planning.next_measurement import MeasurementRequest
from monitor.planning.terminal_commons import TerminalWinding
from monitor.planning.terminal_readings import TerminalReadings
from monitor.planning.terminals import TerminalFinding

CARE = "Low-voltage side only, nothing connected to the posts. Unplug before wiring; local codes and the maker's instructions come first."


def finding_record(found: TerminalFinding) -> dict[str, object]:
    """The finding as one JSON object."""
    request = found.measure_next
    return {
        "kind": "terminals",
        "decided": found.decided,
        "windings": [_winding_record(winding) for winding in found.windings],
        "measure_next": [{"throttle": request.throttle, "pairs": list(request.pairs)}] if request else [],
        "notes": list(found.notes),
    }


def finding_text(found: TerminalFinding, *, rails: Literal[2, 3] = 3) -> str:
    """What goes where, the table of pairs, and what to know; plain text to print."""
    rows = [f"{CARE}", ""]
    if found.decided:
        for winding in found.windings:
            rows += [*_card(winding, rails), ""]
    else:
        rows += [f"Cannot tell yet. {request_words(found.measure_next)}".strip(), ""]
    rows += ["What each pair of posts gives:", *_table(found.readings)]
    return "\n".join([*rows, *([""] if found.notes else []), *found.notes]) + "\n"


def request_words(request: MeasurementRequest | None) -> str:
    """What to measure next, as a sentence."""
    if request is None:
        return ""
    throttle = (
        "every throttle at its low mark" if request.throttle is None else f"throttle {request.throttle} up, every other low"
    )
    return f"Measure with {throttle}: {', '.join(request.pairs)}."


def post_volts(winding: TerminalWinding) -> dict[str, str]:
    """Each post's volts against its common, in words."""
    words = {each.post: f"{each.low_volts:.1f}-{each.high_volts:.1f} V" for each in winding.variable}
    return words | {each.post: f"{each.volts:.1f} V" for each in winding.constant}


def _winding_record(winding: TerminalWinding) -> dict[str, object]:
    return {
        "common": winding.common,
        "chosen": winding.chosen,
        "variable": [
            {"post": each.post, "throttle": each.throttle, "low_volts": each.low_volts, "high_volts": each.high_volts}
            for each in winding.variable
        ],
        "constant": [{"post": each.post, "volts": each.volts} for each in winding.constant],
    }


def _card(winding: TerminalWinding, rails: Literal[2, 3]) -> Iterator[str]:
    if winding.variable:
        rail = "outer rails" if rails == 3 else "one rail"
        yield f"{winding.chosen}: common, to the {rail} of the track"
    else:
        yield f"{winding.chosen}: common of the accessories"
    volts = post_volts(winding)
    for each in winding.variable:
        rail = "centre rail" if rails == 3 else "other rail"
        yield f"{each.post}: variable {volts[each.post]} against {winding.chosen} (throttle {each.throttle}), to the {rail}"
    for constant in winding.constant:
        yield f"{constant.post}: constant {volts[constant.post]} against {winding.chosen}, for accessories"


def _table(readings: TerminalReadings) -> Iterator[str]:
    names = [readings.pair_name(pair) for pair in readings.pairs]
    width = max([len(name) for name in names] + [len("all low")])
    heads = ["all low", *(f"{throttle} up" for throttle in readings.throttles)]
    yield f"  {'':{width}}  " + "  ".join(heads)
    for name, pair in zip(names, readings.pairs, strict=True):
        shown = [readings.volts(state, pair) for state in readings.states]
        figures = ["-" if volts is None else f"{volts:.1f} V" for volts in shown]
        yield f"  {name:{width}}  " + "  ".join(f"{figure:>{len(head)}}" for figure, head in zip(figures, heads, strict=True))
