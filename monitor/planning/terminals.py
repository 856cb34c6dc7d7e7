"""What the terminals of a supply are: worked out from volts between pairs of posts, every hypothesis kept that the figures allow.

``terminal_readings`` holds the figures, ``terminal_hypotheses`` the ways to make windings of the posts, ``terminal_commons`` the posts
that can be a winding's common, ``next_measurement`` what to measure where several answers are left.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.planning.next_measurement import MeasurementRequest, any_measurement, direct_measurement, next_measurement
from monitor.planning.terminal_commons import TerminalWinding, common_is_open, possible_windings
from monitor.planning.terminal_hypotheses import HypothesisSearch, TerminalHypothesis
from monitor.planning.terminal_notes import NO_OUTPUT, answer_notes, no_throttle, still_throttle, why_impossible, why_open
from monitor.planning.terminal_readings import TerminalReadings


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalFinding:
    """What the terminals of a supply are, or what to measure next.

    Attributes:
        decided: Whether one answer is left.
        measure_next: What to measure where more than one is left; None where no measurement would decide.
        notes: What has to be known about the answer, or why there is none.
    """

    readings: TerminalReadings
    decided: bool
    windings: tuple[TerminalWinding, ...] = ()
    measure_next: MeasurementRequest | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Answer:
    """One answer, and the best hypothesis that comes to it."""

    windings: tuple[TerminalWinding, ...]
    hypothesis: TerminalHypothesis

    def same_as(self, other: "_Answer") -> bool:
        return (
            len(self.windings) == len(other.windings)
            and set(self.hypothesis.still) == set(other.hypothesis.still)
            and all(one.same_as(its) for one, its in zip(self.windings, other.windings, strict=True))
        )


UNLIKELY_MISFIT = 20.0
"""A hypothesis whose misfit is this much above the best one's is 22000 times less likely (likelihood ratio of normal scatter)."""


def find_terminals(readings: TerminalReadings) -> TerminalFinding:
    """Work out what the terminals are.

    Raises:
        LayoutError: The figures are such that no supply can give them; the message names the pair.
    """
    found = HypothesisSearch(readings).run()
    if found.too_many:
        request = any_measurement(readings)
        return TerminalFinding(readings=readings, decided=False, measure_next=request, notes=("Too few pairs are measured yet.",))
    answers, numbered = _answers(readings, found.hypotheses)
    if not numbered:
        raise LayoutError(why_impossible(readings, found.hypotheses, _is_possible))
    if len(answers) == 1 and all(number is not None for _, number in numbered):
        return _with_notes(readings, answers[0])
    request = next_measurement(readings, [hypothesis for hypothesis, _ in numbered], [number for _, number in numbered])
    notes = () if request is not None else why_open(readings, [answer.windings for answer in answers])
    return TerminalFinding(readings=readings, decided=False, measure_next=request, notes=tuple(notes))


def _is_possible(readings: TerminalReadings) -> bool:
    return bool(_answers(readings, HypothesisSearch(readings).run().hypotheses)[1])


def _answers(
    readings: TerminalReadings, hypotheses: Sequence[TerminalHypothesis]
) -> tuple[list[_Answer], list[tuple[TerminalHypothesis, int | None]]]:
    """The different answers, and for each likely hypothesis that means something the number of its answer."""
    answers: list[_Answer] = []
    numbered: list[tuple[TerminalHypothesis, int | None]] = []
    for hypothesis in hypotheses:
        if numbered and hypothesis.misfit > numbered[0][0].misfit + UNLIKELY_MISFIT:
            break
        if hypothesis.unseen or not all(winding.complete for winding in hypothesis.windings):
            numbered.append((hypothesis, None))
            continue
        for windings in possible_windings(readings, hypothesis):
            answer = _Answer(windings, hypothesis)
            number = next((k for k, other in enumerate(answers) if answer.same_as(other)), len(answers))
            if number == len(answers):
                answers.append(answer)
            numbered.append((hypothesis, number))
    return answers, numbered


def _with_notes(readings: TerminalReadings, answer: _Answer) -> TerminalFinding:
    """The answer, unless it is one that nothing measured could settle."""
    request = direct_measurement(readings, answer.windings)
    if request is not None:
        return TerminalFinding(readings=readings, decided=False, measure_next=request)
    hypothesis = answer.hypothesis
    open_commons = [fit for fit in hypothesis.windings if common_is_open(fit)]
    if not answer.windings:
        return TerminalFinding(readings=readings, decided=False, notes=(NO_OUTPUT,))
    if hypothesis.still and not hypothesis.silent:
        return TerminalFinding(readings=readings, decided=False, notes=(still_throttle(readings, hypothesis.still),))
    if open_commons:
        missing = next(
            (place for place in readings.unmeasured() if any(set(place[1]) <= set(fit.posts) for fit in open_commons)), None
        )
        if missing is not None:
            request = MeasurementRequest(throttle=readings.throttle_of(missing[0]), pairs=(readings.pair_name(missing[1]),))
            return TerminalFinding(readings=readings, decided=False, measure_next=request)
        notes = tuple(no_throttle(readings, fit.posts) for fit in open_commons)
        return TerminalFinding(readings=readings, decided=False, notes=notes)
    notes = tuple(answer_notes(readings, answer.windings, hypothesis))
    return TerminalFinding(readings=readings, decided=True, windings=answer.windings, notes=notes)


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
