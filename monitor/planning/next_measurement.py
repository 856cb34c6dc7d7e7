"""The smallest further measurement that tells hypotheses about a supply's terminals apart; never one that was made."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from monitor.planning.terminal_commons import TerminalWinding
from monitor.planning.terminal_hypotheses import CHANGED_SIGMAS, Pair, TerminalHypothesis
from monitor.planning.terminal_readings import PHANTOM_LIMIT_VOLTS, TerminalReadings, sigma_volts

COMPARED_LIMIT = 40
"""Hypotheses looked at for the choice: enough to choose well."""
MAYBE_PHANTOM = 0.5
"""What a measurement counts that tells two hypotheses apart only where no phantom volts come in between."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementRequest:
    """What to measure next.

    Attributes:
        throttle: The throttle to turn up, all others low; None for all low.
    """

    throttle: str | None
    pairs: tuple[str, ...]


def next_measurement(
    readings: TerminalReadings, hypotheses: Sequence[TerminalHypothesis], answers: Sequence[int | None]
) -> MeasurementRequest | None:
    """The pair that tells most of the hypotheses apart, or makes most complete; each comes with the number of its answer, None if incomplete.

    Returns:
        None where no pair that was not measured yet would tell anything.
    """
    compared = list(zip(hypotheses, answers, strict=True))[:COMPARED_LIMIT]
    worth = {place: _worth(place, compared) for place in readings.unmeasured()}
    if not worth or max(worth.values()) <= 0:
        return None
    state, pair = max(worth, key=lambda place: worth[place])
    pairs = [pair]
    if state and any(state in hypothesis.unseen for hypothesis in hypotheses):
        pairs += _others_on_the_winding(readings, hypotheses[0], state, pair)
    return MeasurementRequest(throttle=readings.throttle_of(state), pairs=tuple(readings.pair_name(each) for each in pairs))


def direct_measurement(readings: TerminalReadings, windings: Sequence[TerminalWinding]) -> MeasurementRequest | None:
    """Volts of the answer that no figure shows directly, of the first round that lacks some; None where there are none."""
    lacking: dict[int, list[str]] = {}
    for winding in windings:
        throttle_of = {each.post: each.throttle for each in winding.variable}
        for post in winding.posts[1:]:
            ends = sorted((readings.posts.index(winding.chosen), readings.posts.index(post)))
            pair = (ends[0], ends[1])
            own = readings.throttles.index(throttle_of[post]) + 1 if post in throttle_of else None
            if all(readings.volts(state, pair) is None for state in readings.states if state != own):
                lacking.setdefault(0, []).append(readings.pair_name(pair))
            if own is not None and readings.volts(own, pair) is None:
                lacking.setdefault(own, []).append(readings.pair_name(pair))
    if not lacking:
        return None
    state = min(lacking)
    return MeasurementRequest(throttle=readings.throttle_of(state), pairs=tuple(lacking[state]))


def any_measurement(readings: TerminalReadings) -> MeasurementRequest | None:
    """Where there are too many hypotheses to look through: what is missing of the first incomplete round, from the post known best."""
    missing = list(readings.unmeasured())
    if not missing:
        return None
    state = missing[0][0]
    pairs = [pair for its, pair in missing if its == state]
    known = {
        post: sum(1 for its, pair in readings.mean_volts if its == state and post in pair) for post in range(len(readings.posts))
    }
    reference = max((post for pair in pairs for post in pair), key=lambda post: (known[post], -post))
    star = [pair for pair in pairs if reference in pair]
    return MeasurementRequest(throttle=readings.throttle_of(state), pairs=tuple(readings.pair_name(pair) for pair in star))


def _worth(place: tuple[int, Pair], compared: Sequence[tuple[TerminalHypothesis, int | None]]) -> float:
    shown = [(_shown(hypothesis, *place), answer) for hypothesis, answer in compared]
    worth = float(sum(1 for volts, answer in shown if volts is None and answer is None))
    for (volts, answer), (other_volts, other) in itertools.combinations(shown, 2):
        if answer is None or answer != other:
            worth += _apart(volts, other_volts)
    return worth


def _shown(hypothesis: TerminalHypothesis, state: int, pair: Pair) -> tuple[float, bool] | None:
    """Volts that the meter would show, and whether they may be phantoms; None where the hypothesis does not say."""
    winding = hypothesis.winding_of(pair)
    if winding is None:
        silent = set(pair) & set(hypothesis.silent)
        return None if state in hypothesis.unseen and len(silent) == 2 else (0.0, not silent)
    if state in hypothesis.unseen:
        return None
    volts = winding.between(state, pair)
    return None if volts is None else (volts, False)


def _apart(one: tuple[float, bool] | None, other: tuple[float, bool] | None) -> float:
    if one is None or other is None:
        return 1.0 if one is not other else 0.0
    if abs(one[0] - other[0]) <= CHANGED_SIGMAS * hypot(sigma_volts(one[0]), sigma_volts(other[0])):
        return 0.0
    phantom = any(maybe for _, maybe in (one, other)) and max(one[0], other[0]) <= PHANTOM_LIMIT_VOLTS + 1
    return MAYBE_PHANTOM if phantom else 1.0


def _others_on_the_winding(readings: TerminalReadings, hypothesis: TerminalHypothesis, state: int, pair: Pair) -> list[Pair]:
    """From the same post to the others of its winding: what finds the moved post in one round."""
    winding = hypothesis.winding_of(pair)
    if winding is None:
        return []
    return [
        (min(pair[0], post), max(pair[0], post))
        for post in winding.posts
        if post not in pair and readings.volts(state, (min(pair[0], post), max(pair[0], post))) is None
    ]
