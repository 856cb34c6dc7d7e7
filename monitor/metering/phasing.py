"""How the AC supplies on one board stand to each other, and what that means."""

import cmath
import itertools
import math
from collections import deque
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout, Supply
from monitor.layout.joined_commons import COMMONS, STRIP_OFF
from monitor.metering.bridging import circulating_amps, difference_volts, source_ohms
from monitor.metering.mains_view import MainsView
from monitor.values import AggregateBlock, Phasing, WaveformKind
from monitor.values.arrays import Floats

Verdict = Literal["in-phase", "anti-phase", "unrelated"]

STEADY_WINDOWS = 5
"""One second of aggregates must agree before anything is said."""
STEADY_DEGREES = 10.0
STEADY_VOLTS_SHARE = 0.05
TOLERANCE_DEGREES = 20.0
"""Transformers under load turn the phase by some degrees; two supplies on one mains are else at 0 or 180 (trade at large)."""
LOWEST_VOLTS = 2.0
CHANGED_WINDOWS = 15
"""A verdict once given changes only after three seconds of another."""
KEPT_FRAMES = 60
"""Half a second: an aggregate before a hole is told of only after it."""
AGAIN_AFTER_S = 30.0
"""Unless the verdict changes, nothing is said again within this time, nor while the difference stays within 15 % or a volt."""


@dataclass(frozen=True, slots=True)
class _LastPhasor:
    """One window of one pair."""

    angle: complex
    volts: tuple[float, float]
    difference: float


class PhaseComparator:
    """Compares supplies once their outputs are live and steady; says so once, and again when it changed.

    Args:
        layout: The layout file.
        board: The board's name.
    """

    def __init__(self, layout: Layout, board: str) -> None:
        self._districts = layout.districts_of_board(board)
        ac = [s for s in layout.supply if s.current == "ac" and any(d.supply == s.name for d in self._districts)]
        self._pairs = list(itertools.combinations(ac, 2))
        self._columns = {s.name: [k for k, d in enumerate(self._districts) if d.supply == s.name] for s in ac}
        self._recent: dict[int, deque[_LastPhasor]] = {k: deque(maxlen=STEADY_WINDOWS) for k in range(len(self._pairs))}
        self._said: dict[int, tuple[Phasing, float]] = {}
        self._doubted: dict[int, int] = {}
        self._times_s: Floats = np.zeros(0)
        self._phasors: NDArray[np.complex128] = np.zeros((len(self._districts), 0), dtype=np.complex128)

    def feed(self, views: list[MainsView], aggregates: list[AggregateBlock]) -> list[Phasing]:
        """Phasings that were found or changed.

        Args:
            views: Frames that came with the aggregates.
            aggregates: In order.
        """
        if not self._pairs:
            return []
        if views:
            self._times_s = np.concatenate([self._times_s[-KEPT_FRAMES:], *(view.times_s for view in views)])
            self._phasors = np.concatenate([self._phasors[:, -KEPT_FRAMES:], *(view.phasors for view in views)], axis=1)
        found: list[Phasing] = []
        for block in aggregates:
            live = live_columns(block)
            for row in np.flatnonzero(live.sum(axis=1) > 1).tolist():
                found += self._row(block, row, live[row])
        return found

    def _row(self, block: AggregateBlock, row: int, live: NDArray[np.bool_]) -> list[Phasing]:
        frame = int(np.searchsorted(self._times_s, block.end_s[row], side="right")) - 1
        if frame < 0:
            return []
        found = []
        for k, (one, other) in enumerate(self._pairs):
            columns = [self._strongest(supply, block.volts_rms[row], live) for supply in (one, other)]
            if columns[0] is None or columns[1] is None:
                self._recent[k].clear()
                continue
            self._recent[k].append(self._seen(block, row, frame, (columns[0], columns[1])))
            phasing = self._judged(k, float(block.end_s[row]))
            if phasing is not None:
                found.append(phasing)
        return found

    def _strongest(self, supply: Supply, volts: Floats, live: NDArray[np.bool_]) -> int | None:
        columns = [k for k in self._columns[supply.name] if live[k]]
        return max(columns, key=lambda k: float(volts[k]), default=None)

    def _seen(self, block: AggregateBlock, row: int, frame: int, columns: tuple[int, int]) -> _LastPhasor:
        one, other = columns
        angle = complex(self._phasors[one, frame] * self._phasors[other, frame].conjugate())
        angle = angle / abs(angle) if angle else 1.0 + 0.0j
        volts, means, open_degrees = ([float(figures[row, c]) for c in columns] for figures in _figures(block))
        return _LastPhasor(
            angle=angle,
            volts=(volts[0], volts[1]),
            difference=difference_volts(
                (volts[0], volts[1]), (means[0], means[1]), math.degrees(cmath.phase(angle)), (open_degrees[0], open_degrees[1])
            ),
        )

    def _judged(self, pair: int, now_s: float) -> Phasing | None:
        recent = self._recent[pair]
        if len(recent) < STEADY_WINDOWS or not all(_steady([seen.volts[k] for seen in recent]) for k in range(2)):
            return None
        mean = sum((seen.angle for seen in recent), 0j) / len(recent)
        spread = max(abs(math.degrees(cmath.phase(seen.angle / mean))) for seen in recent) if mean else 180.0
        degrees = math.degrees(cmath.phase(mean))
        verdict = _verdict(degrees, spread)
        difference = sum(seen.difference for seen in recent) / len(recent)
        said = self._said.get(pair)
        if said is not None and said[0].verdict == verdict:
            self._doubted[pair] = 0
            moved = abs(difference - said[0].difference_volts) > max(1.0, 0.15 * said[0].difference_volts)
            if not moved or now_s - said[1] < AGAIN_AFTER_S:
                return None
            phasing = replace(self._phasing(pair, verdict, difference, degrees, now_s), start_s=said[0].start_s)
        else:
            self._doubted[pair] = self._doubted.get(pair, 0) + 1
            if said is not None and self._doubted[pair] < CHANGED_WINDOWS:
                return None
            phasing = self._phasing(pair, verdict, difference, degrees, now_s)
        self._said[pair] = (phasing, now_s)
        return phasing

    def _phasing(self, pair: int, verdict: Verdict, difference: float, degrees: float, now_s: float) -> Phasing:
        one, other = self._pairs[pair]
        amps = circulating_amps(difference, source_ohms(one), source_ohms(other))
        return Phasing(
            supplies=(one.name, other.name),
            verdict=verdict,
            difference_volts=difference,
            degrees=degrees,
            start_s=now_s,
            advice=phasing_advice(verdict, difference, amps),
            circulating_amps=amps,
        )


def phasing_advice(verdict: Verdict, difference: float, amps: float) -> str:
    """What a verdict means for joining commons and for trains that cross from one supply's track to the other's."""
    bridged = f"a train that bridges the gap lets about {amps:.0f} A flow between them until a breaker opens"
    meant = {
        "in-phase": f"In phase; at these settings {difference:.1f} V stand across the gap and {bridged}: "
        "cross with both throttles at the same mark.",
        "anti-phase": f"They are opposed: {difference:.1f} V stand across the gap and {bridged}. {STRIP_OFF}; then take off any wire "
        "between their commons, and turn one of the two round as the phasing walk says (pilotlamp phase): by its plug, if that may go in "
        "either way, or by the two wires of an output that shares no post with another. No train crosses before that.",
        "unrelated": f"They do not follow the same mains phase: {difference:.1f} V stand across the gap and {bridged}: keep their "
        "tracks apart, with no common rail and no train that crosses.",
    }
    return f"{meant[verdict]} {COMMONS}"


def _verdict(degrees: float, spread: float) -> Verdict:
    if spread <= STEADY_DEGREES and abs(degrees) <= TOLERANCE_DEGREES:
        return "in-phase"
    if spread <= STEADY_DEGREES and abs(degrees) >= 180 - TOLERANCE_DEGREES:
        return "anti-phase"
    return "unrelated"


def _steady(volts: list[float]) -> bool:
    return max(volts) - min(volts) <= STEADY_VOLTS_SHARE * max(volts)


def live_columns(block: AggregateBlock) -> NDArray[np.bool_]:
    """Where there is AC to compare, shape (n, d)."""
    # An offset sounds a whistle for a moment; the angle is not worth much while it lasts.
    steady = np.abs(block.volts_mean) <= 0.1 * block.volts_rms
    ac = np.array([[kind in (WaveformKind.SINE, WaveformKind.PHASE_CUT) for kind in row] for row in block.waveform], dtype=bool)
    return ac & steady & (block.volts_rms >= LOWEST_VOLTS) & block.good


def _figures(block: AggregateBlock) -> tuple[Floats, Floats, Floats]:
    return block.volts_rms, block.volts_mean, np.where(np.isfinite(block.conduction_degrees), block.conduction_degrees, 180.0)
