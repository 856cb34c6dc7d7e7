"""What really happened on the model bench, to the scan: events, trips, the highest load."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from monitor.values import Cause


@dataclass(slots=True, kw_only=True)
class Label:
    """One event as it really was.

    Attributes:
        district: Where, by position.
        start_scan: First scan of it.
        end_scan: First scan after it.
        optional: A judgement call: finding it or not are both right.
        stays: Goes on although the protection opens meanwhile.
    """

    cause: Cause
    district: int
    start_scan: int
    end_scan: int
    optional: bool = False
    stays: bool = False


@dataclass(slots=True, kw_only=True)
class Trip:
    """One opening of a protection.

    Attributes:
        onset_scan: When the overload that led to it began.
        reset_scan: When it closed again; None: not yet.
        hard: Opened by a short.
    """

    supply: int
    onset_scan: int
    trip_scan: int
    reset_scan: int | None = None
    hard: bool = False


@dataclass(slots=True)
class Truth:
    """The book of a bench.

    Attributes:
        laps: By train: scans at which it passed the start of its lap.
        va_max: By supply: highest one-second mean of volt-amperes.
        moves: (scan, train, district): where trains were driven.
    """

    labels: list[Label] = field(default_factory=list)
    trips: list[Trip] = field(default_factory=list)
    laps: dict[int, list[int]] = field(default_factory=dict)
    va_max: dict[int, float] = field(default_factory=dict)
    moves: list[tuple[int, int, int]] = field(default_factory=list)

    def note(self, cause: Cause, district: int, start_scan: int, end_scan: int, *, optional: bool = False) -> Label:
        """Write an event down."""
        label = Label(cause=cause, district=district, start_scan=start_scan, end_scan=end_scan, optional=optional)
        self.labels.append(label)
        return label

    def cut(self, districts: list[int], at_scan: int) -> None:
        """The power of these districts went: events of theirs that were to last longer, or to begin, end now."""
        for label in self.labels:
            if label.district in districts and label.end_scan > at_scan and not label.stays:
                label.end_scan = at_scan
        self.labels[:] = [label for label in self.labels if label.end_scan > label.start_scan]

    def forget_before(self, scan: int) -> None:
        """Drop what ended before a scan: an endless bench keeps bounded memory."""
        self.labels[:] = [label for label in self.labels if label.end_scan >= scan]
        self.trips[:] = [trip for trip in self.trips if trip.trip_scan >= scan]
        self.moves[:] = [move for move in self.moves if move[0] >= scan]
        for passes in self.laps.values():
            passes[:] = [at for at in passes if at >= scan]

    def lap_s(self, train: int, interval_s: float) -> float | None:
        """Median lap time of a train; None where it has gone round fewer than twice."""
        passes = self.laps.get(train, [])
        spans = sorted(b - a for a, b in pairwise(passes))
        return spans[len(spans) // 2] * interval_s if spans else None


def event_rows(labels: list[Label], names: list[str], interval_s: float, end_scan: int) -> list[dict[str, Any]]:
    """Labels as the rows of a truth file, in order of time, cut at the end of the capture."""
    rows = []
    for label in sorted(labels, key=lambda label: (label.start_scan, label.district)):
        if label.start_scan >= end_scan:
            continue
        row: dict[str, Any] = {
            "cause": label.cause.value,
            "fault": label.cause.is_fault,
            "district": names[label.district],
            "start_s": round(label.start_scan * interval_s, 6),
            "end_s": round(min(label.end_scan, end_scan) * interval_s, 6),
        }
        if label.optional:
            row["optional"] = True
        rows.append(row)
    return rows
