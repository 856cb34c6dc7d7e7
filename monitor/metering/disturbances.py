"""Dips, swells and interruptions of each district's volts, against a sliding reference."""

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.metering import thresholds as th
from monitor.values import AggregateBlock, Disturbance, DisturbanceKind, ReadingBlock
from monitor.values.arrays import Bools, Floats, Ints


@dataclass(slots=True)
class _Standing:
    """What goes on in one district."""

    reference: float = 0.0
    latest: float = 0.0
    event: Disturbance | None = None
    gone_s: float = 0.0


class DisturbanceDetector:
    """Watches all districts of one board; results do not depend on how rows are cut into blocks.

    Times are middles of one-cycle windows, so that a dip begins where the volts fell, and ends half a cycle after they came back:
    a dip of N whole cycles lasts N and a half.
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
        found: list[Disturbance] = []
        for column in range(len(self._districts)):
            found += self._column(column, middles_s, volts[:, column], rows, steady_volts[:, column].tolist())
        return sorted(found, key=lambda event: event.start_s)

    def _column(self, column: int, middles_s: Floats, volts: Floats, rows: Ints, levels: list[float]) -> list[Disturbance]:
        """One district: levels are the aggregates' volts, each complete at the row of volts of that number."""
        standing = self._standing[column]
        found: dict[int, Disturbance] = {}
        known = np.isfinite(volts)
        at = done = 0
        while at < len(volts):
            if standing.event is None:
                at, done = self._quiet(standing, at, done, volts, rows, levels)
                if at < len(volts):
                    standing.gone_s = float(middles_s[at])
                    standing.event = self._begun(column, _kind(volts[at], standing.reference), standing.gone_s, float(volts[at]))
                    found[standing.event.id] = standing.event
                    at += 1
                continue
            at, changed = _followed(standing, standing.event, at, middles_s, volts, known)
            if changed is not None:
                found[changed.id] = changed
            # What came meanwhile moves no reference, and the last of it is what the next may agree with.
            passed = int(np.searchsorted(rows, at))
            standing.latest, done = (levels[passed - 1], passed) if passed > done else (standing.latest, done)
        return list(found.values())

    @staticmethod
    def _quiet(standing: _Standing, at: int, done: int, volts: Floats, rows: Ints, levels: list[float]) -> tuple[int, int]:
        """The next row that goes beyond the reference, which slides up to there, and how many levels have been taken then."""
        references, latest = [standing.reference], [standing.latest]
        for level in levels[done:]:
            references.append(_slid(references[-1], latest[-1], level))
            latest.append(level)
        taken = np.searchsorted(rows[done:], np.arange(at, len(volts)), side="right")
        reference = np.array(references)[taken]
        beyond = (volts[at:] < th.DIP_BELOW * reference) | (volts[at:] > th.SWELL_ABOVE * reference)
        beyond &= reference >= th.LOWEST_REFERENCE_VOLTS
        ahead = int(beyond.argmax()) if beyond.any() else len(beyond)
        upto = int(taken[ahead]) if ahead < len(beyond) else len(references) - 1
        standing.reference, standing.latest = references[upto], latest[upto]
        return at + ahead, done + upto

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


def _followed(
    standing: _Standing, event: Disturbance, at: int, middles_s: Floats, volts: Floats, known: Bools
) -> tuple[int, Disturbance | None]:
    """The row behind an event, or the end of the rows, and the event where it changed by then."""
    reference, level, known = standing.reference, volts[at:], known[at:]
    times_s = middles_s[at:]
    gone = known & (level < th.INTERRUPTION_BELOW * reference)
    gone_s = np.maximum.accumulate(np.where(gone, times_s, standing.gone_s))
    late = times_s - gone_s > th.TAKEN_OVER_S
    ends = known & (late | _over(event.kind, level, reference))
    stop = int(ends.argmax()) if ends.any() else len(level)
    extreme = event.extreme_volts
    if known[:stop].any():
        extreme = (
            max(extreme, float(np.nanmax(level[:stop])))
            if event.kind == "swell"
            else min(extreme, float(np.nanmin(level[:stop])))
        )
    changed = extreme != event.extreme_volts
    if changed:
        event = replace(event, kind="swell" if event.kind == "swell" else _kind(extreme, reference), extreme_volts=extreme)
    standing.event = event
    if stop == len(level):
        standing.gone_s = float(gone_s[-1])
        return at + stop, event if changed else None
    standing.event, standing.reference = None, 0.0 if late[stop] else reference
    return at + stop + 1, replace(event, end_s=float(times_s[stop]))


def _slid(reference: float, latest: float, level: float) -> float:
    """One step of the sliding reference; from nothing, or from an output that was off, it starts as soon as two levels agree."""
    if not math.isfinite(level):
        return reference
    if reference < th.LOWEST_REFERENCE_VOLTS:
        return level if abs(level - latest) <= th.STEADY_SHARE * level else 0.0
    return reference + (level - reference) * 0.2 / th.SLIDE_S


def _kind(level: float, reference: float) -> DisturbanceKind:
    """Of a level beyond its reference."""
    if level > th.SWELL_ABOVE * reference:
        return "swell"
    return "interruption" if level < th.INTERRUPTION_BELOW * reference else "dip"


def _over(kind: DisturbanceKind, levels: Floats, reference: float) -> Bools:
    if kind == "swell":
        return levels <= (th.SWELL_ABOVE - th.HYSTERESIS) * reference
    return levels >= (th.DIP_BELOW + th.HYSTERESIS) * reference
