"""Dips, swells and interruptions of each district's volts, against a sliding reference."""

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.values import AggregateBlock, Disturbance, DisturbanceKind, ReadingBlock
from monitor.values.arrays import Floats

DIP_BELOW = 0.90
SWELL_ABOVE = 1.10
HYSTERESIS = 0.02
INTERRUPTION_BELOW = 0.05
"""IEC 61000-4-30 sections 5.4 and 5.5: usual threshold, hysteresis and limit, as shares of the reference."""
SLIDE_S = 60.0
"""Time constant of the sliding reference, a first-order filter of the aggregates (section 5.4.4)."""
TAKEN_OVER_S = 10.0
"""A dip or swell that lasts longer is a throttle's new setting: it ends, and the reference starts anew from there."""
STEADY_SHARE = 0.05
LOWEST_REFERENCE_VOLTS = 2.0
"""Below, an output is as good as off and has nothing to dip from."""


@dataclass(slots=True)
class _Standing:
    """What goes on in one district; a value of its own so that it can be walked through row by row."""

    reference: float = 0.0
    latest: float = 0.0
    event: Disturbance | None = None
    gone_s: float = 0.0


class DisturbanceDetector:
    """Watches all districts of one board; results do not depend on how rows are cut into blocks.

    Times are middles of one-cycle windows, so that a dip begins where the volts fell, and ends half a cycle after they came back:
    a dip of N whole cycles lasts N and a half.

    Args:
        board: The board's name.
        districts: Names of the columns.
    """

    def __init__(self, board: str, districts: tuple[str, ...]) -> None:
        self._board = board
        self._districts = districts
        self._ids = itertools.count(1)
        self._standing = [_Standing() for _ in districts]
        self._waiting_s = np.zeros(0)
        self._waiting_volts = np.zeros((0, len(districts)))

    def feed(self, readings: list[ReadingBlock], aggregates: list[AggregateBlock], told_s: Floats) -> list[Disturbance]:
        """Disturbances that began, changed or ended.

        Args:
            readings: One-cycle readings.
            aggregates: Those that were completed meanwhile; behind a hole they may come before the readings do.
            told_s: Shape (n,): when each of them was complete.
        """
        self._waiting_s = np.concatenate([self._waiting_s, told_s])
        self._waiting_volts = np.concatenate([self._waiting_volts, *(block.volts_rms for block in aggregates)])
        if not readings:
            return []
        ends_s = np.concatenate([block.end_s for block in readings])
        middles_s = np.concatenate([(block.start_s + block.end_s) / 2 for block in readings])
        volts = np.concatenate([block.volts_rms for block in readings])
        come = int(np.searchsorted(self._waiting_s, ends_s[-1], side="right"))
        steady_volts, self._waiting_volts = self._waiting_volts[:come], self._waiting_volts[come:]
        rows, self._waiting_s = np.searchsorted(ends_s, self._waiting_s[:come]), self._waiting_s[come:]
        extremes = list(zip(volts.min(axis=0).tolist(), volts.max(axis=0).tolist(), strict=True))
        found: list[Disturbance] = []
        for column in range(len(self._districts)):
            levels = steady_volts[:, column].tolist()
            if not self._quiet(column, volts[:, column], extremes[column], rows, levels):
                found += self._walk(column, middles_s, volts[:, column], dict(zip(rows.tolist(), levels, strict=True)))
        return sorted(found, key=lambda event: event.start_s)

    def _quiet(
        self, column: int, volts: Floats, extremes: tuple[float, float], rows: NDArray[np.intp], levels: list[float]
    ) -> bool:
        """True, and the reference moved on, where nothing at all happens in a stretch; extremes are those of the volts."""
        standing = self._standing[column]
        if standing.event is not None:
            return False
        latest = standing.latest
        references = [standing.reference]
        for level in levels:
            references.append(_slid(references[-1], latest, level))
            latest = level
        if max(references) < LOWEST_REFERENCE_VOLTS or (
            min(references) >= LOWEST_REFERENCE_VOLTS
            and extremes[0] >= DIP_BELOW * max(references)
            and extremes[1] <= SWELL_ABOVE * min(references)
        ):
            standing.reference, standing.latest = references[-1], latest
            return True
        at_row = np.array(references)[np.searchsorted(rows, np.arange(len(volts)), side="right")]
        beyond = (volts < DIP_BELOW * at_row) | (volts > SWELL_ABOVE * at_row)
        if (beyond & (at_row >= LOWEST_REFERENCE_VOLTS)).any():
            return False
        standing.reference, standing.latest = references[-1], latest
        return True

    def _walk(self, column: int, middles_s: Floats, volts: Floats, levels: dict[int, float]) -> list[Disturbance]:
        standing = self._standing[column]
        found: dict[int, Disturbance] = {}
        for row, (middle_s, level) in enumerate(zip(middles_s.tolist(), volts.tolist(), strict=True)):
            if row in levels:
                if standing.event is None:
                    standing.reference = _slid(standing.reference, standing.latest, levels[row])
                standing.latest = levels[row]
            changed = self._stepped(column, standing, middle_s, level)
            if changed is not None:
                found[changed.id] = changed
        return list(found.values())

    def _stepped(self, column: int, standing: _Standing, middle_s: float, level: float) -> Disturbance | None:
        event, reference = standing.event, standing.reference
        if not np.isfinite(level):
            return None
        if event is None:
            kind = _kind(level, reference)
            if kind is None:
                return None
            event = self._begun(column, kind, middle_s, level)
            standing.gone_s = middle_s
        else:
            extreme = max(event.extreme_volts, level) if event.kind == "swell" else min(event.extreme_volts, level)
            if level < INTERRUPTION_BELOW * reference:
                standing.gone_s = middle_s
            late = middle_s - standing.gone_s > TAKEN_OVER_S
            if _over(event.kind, level, reference) or late:
                standing.event = None
                standing.reference = 0.0 if late else reference
                return replace(event, end_s=middle_s)
            if extreme == event.extreme_volts:
                return None
            kind = event.kind if event.kind == "swell" else _kind(extreme, reference) or event.kind
            event = replace(event, kind=kind, extreme_volts=extreme)
        standing.event = event
        return event

    def _begun(self, column: int, kind: DisturbanceKind, start_s: float, level: float) -> Disturbance:
        return Disturbance(
            id=next(self._ids),
            board=self._board,
            district=self._districts[column],
            kind=kind,
            start_s=start_s,
            end_s=None,
            extreme_volts=level,
            reference_volts=self._standing[column].reference,
        )


def _slid(reference: float, latest: float, level: float) -> float:
    """One step of the sliding reference; from nothing, or from an output that was off, it starts as soon as two levels agree."""
    if not np.isfinite(level):
        return reference
    if reference < LOWEST_REFERENCE_VOLTS:
        return level if abs(level - latest) <= STEADY_SHARE * level else 0.0
    return reference + (level - reference) * 0.2 / SLIDE_S


def _kind(level: float, reference: float) -> DisturbanceKind | None:
    if reference < LOWEST_REFERENCE_VOLTS:
        return None
    if level < INTERRUPTION_BELOW * reference:
        return "interruption"
    if level < DIP_BELOW * reference:
        return "dip"
    return "swell" if level > SWELL_ABOVE * reference else None


def _over(kind: DisturbanceKind, level: float, reference: float) -> bool:
    if kind == "swell":
        return level <= (SWELL_ABOVE - HYSTERESIS) * reference
    return level >= (DIP_BELOW + HYSTERESIS) * reference
