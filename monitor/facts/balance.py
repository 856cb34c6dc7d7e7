"""Balance: amps that leave one district and come on in another at the same moment belong to a train that drives over."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.facts.dips import noise
from monitor.facts.facts import Facts
from monitor.facts.medians import median
from monitor.facts.ticks import TICK_S


def handed_over(stream: Facts, district: int, tick: int, depth: float, least_share: float = t.BALANCE_PARTLY) -> bool:
    """Whether another track district took what this one lost at a tick (or, ``depth`` below 0, gave what this one gained)."""
    before = stream.medians("amps", tick - 6, tick - 1)
    after = stream.medians("amps", tick + 2, tick + t.BALANCE_BESIDE_TICKS)
    if depth > 0:
        # What had only lost contact there, and has it again, is no train that came.
        before = np.fmax(before, stream.medians("amps", tick - 16, tick - 6))
    gained = np.where(_fed_throughout(stream, district, tick) & stream.circuits.is_track, after - before, 0.0)
    return bool(np.nanmax(np.sign(depth) * gained, initial=0.0) > least_share * abs(depth))


def driven_over(stream: Facts, district: int, ticks: tuple[int, int], depth: float, *, is_partial: bool) -> bool:
    """Whether a train was elsewhere between two ticks: another district took its amps and gave them back.

    Of a sag that is partial, nearly all of them at either tick are enough.
    """
    partly, wholly = (
        [handed_over(stream, district, tick, sign * depth, share) for tick, sign in zip(ticks, (1, -1), strict=True)]
        for share in (t.BALANCE_PARTLY, t.BALANCE_WHOLLY)
    )
    return all(partly) or (is_partial and any(wholly))


def others_dropped(stream: Facts, district: int, tick: int, share: float) -> bool:
    """Whether another district lost more than a share of its amps at the same time: no single wheel does that."""
    before, after = stream.medians("amps", tick - 6, tick - 1), stream.medians("amps", tick + 2, tick + t.BALANCE_BESIDE_TICKS)
    dropped = after < (1 - share) * before - t.BALANCE_LEAST_AMPS
    return bool((dropped & _fed_throughout(stream, district, tick)).any())


def mirrored(stream: Facts, district: int, span_s: tuple[float, float], depth: float) -> bool:
    """Whether another track district had these amps just while this one lacked them, from edge to edge: a train on its rails."""
    others = _partners(stream, district, span_s[0])
    length_s = min(t.BALANCE_LEVEL_S, span_s[1] - span_s[0])
    return any(
        _steps(stream, other, span_s[0], depth, length_s) and _steps(stream, other, span_s[1], -depth, length_s)
        for other in others
    )


def stepped_elsewhere(stream: Facts, district: int, at_s: float, depth: float) -> bool:
    """Whether another track district took these amps at the very moment at which this one lost them."""
    return any(_steps(stream, other, at_s, depth, t.BALANCE_LEVEL_S) for other in _partners(stream, district, at_s))


def _partners(stream: Facts, district: int, at_s: float) -> list[int]:
    tracks = _fed_throughout(stream, district, int(at_s / TICK_S)) & stream.circuits.is_track
    return np.flatnonzero(tracks).tolist()


def _fed_throughout(stream: Facts, district: int, tick: int) -> NDArray[np.bool_]:
    """Other districts whose volts stayed about a tick, shape (d,): what goes or comes with the volts is a hand's, and no train's."""
    rows = stream.ticks.rows(tick - 1, tick + t.BALANCE_BESIDE_TICKS)
    fed: NDArray[np.bool_] = np.logical_and.reduce(stream.ticks.calm[rows], axis=0)
    fed[district] = False
    return fed


def _steps(stream: Facts, district: int, at_s: float, change: float, length_s: float) -> bool:
    """Whether the amps of a district step by a part of this change at a moment, well above what they waver by.

    The rails of the other district have other volts, so a train's amps change with it.
    """
    tick = int(at_s / TICK_S)
    cut = stream.cut(district, tick - t.BALANCE_BESIDE_TICKS, tick + t.BALANCE_BESIDE_TICKS)
    away_s, edge_s = (cut.start_s + cut.end_s) / 2 - at_s, min(t.BALANCE_EDGE_S, length_s / 4)
    before, after = cut.amps[(away_s < -edge_s) & (away_s > -length_s)], cut.amps[(away_s > edge_s) & (away_s < length_s)]
    if not len(before) or not len(after):
        return False
    stepped = (median(after) - median(before)) * np.sign(change)
    return bool(stepped > max(t.BALANCE_STEP * abs(change), t.BALANCE_NOISES * max(noise(before), noise(after))))
