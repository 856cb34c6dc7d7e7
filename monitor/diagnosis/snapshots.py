"""The last seconds of samples, and the snapshots cut from them around events."""

import math

import numpy as np
from numpy.typing import NDArray

from monitor.layout import District, Layout
from monitor.values import Identity, SampleBlock, Snapshot, SnapshotChannel

KEPT_S = 12.0  # an event is told a few seconds after it began at the latest, or it is long
BEFORE_S = 0.3
AFTER_S = 0.3
LONGEST_S = 2.5  # of a long event its beginning is kept


class SampleMemory:
    """Remembers the last samples of all boards."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._boards = {district.name: district.board for district in layout.district}
        self._blocks: dict[str, list[SampleBlock]] = {}

    def take(self, blocks: tuple[SampleBlock, ...]) -> None:
        """Remember more samples."""
        for block in blocks:
            self._blocks.setdefault(block.board, []).append(block)

    def forget(self, now_s: float) -> None:
        """Let go of what is too old to matter."""
        for kept in self._blocks.values():
            while kept and kept[0].end_s < now_s - KEPT_S:
                del kept[0]

    def cut(self, event_id: int, district: str, first_s: float, last_s: float) -> Snapshot | None:
        """The samples from first_s to last_s, for an event in a district; None where its board sent none."""
        board = self._boards[district]
        blocks = [b for b in self._blocks.get(board, []) if b.end_s > first_s and b.start_s < last_s]
        if not blocks:
            return None
        identity = blocks[0].identity
        blocks = [b for b in blocks if b.identity == identity]
        columns = _columns(self._layout, district, identity)
        values, at_s = _joined(blocks, [c for c, _ in columns], first_s, last_s)
        return Snapshot(
            event_id=event_id,
            board=board,
            start_s=at_s,
            interval_s=identity.scan_interval_s * blocks[-1].drift,
            channels=tuple(channel for _, channel in columns),
            values=self._calibrated(values, board, identity, [c for c, _ in columns]),
        )

    def _calibrated(self, counts: NDArray[np.float32], board: str, identity: Identity, columns: list[int]) -> NDArray[np.float32]:
        corrections = [self._layout.channel_calibration(board, column) for column in columns]
        zero = [identity.channels[c].zero_counts + k.zero for c, k in zip(columns, corrections, strict=True)]
        gain = [identity.channels[c].units_per_count * k.gain for c, k in zip(columns, corrections, strict=True)]
        return ((counts - np.array(zero, dtype=np.float32)) * np.array(gain, dtype=np.float32)).astype(np.float32)


def snapshot_span(start_s: float, end_s: float | None) -> tuple[float, float]:
    """From when to when samples are kept for an event that began and ended so; of a long one, its beginning."""
    longest_s = start_s - BEFORE_S + LONGEST_S
    return start_s - BEFORE_S, longest_s if end_s is None else min(end_s + AFTER_S, longest_s)


def _columns(layout: Layout, district: str, identity: Identity) -> list[tuple[int, SnapshotChannel]]:
    """Channels of the district and its neighbours on the board, the district first, its supply's neighbours next."""
    own = next(d for d in layout.district if d.name == district)

    def nearness(other: District) -> int:
        return 0 if other is own else 1 if other.supply == own.supply else 2

    columns = []
    for other in sorted(layout.districts_of_board(own.board), key=nearness):
        for quantity, channel in (("V", other.volts_channel), ("A", other.amps_channel), ("F", other.far_volts_channel)):
            if channel is not None and channel < len(identity.channels):
                skew_s = identity.channels[channel].skew_s
                columns.append((channel, SnapshotChannel(district=other.name, quantity=quantity, skew_s=skew_s)))  # type: ignore[arg-type]
    return columns


def _joined(blocks: list[SampleBlock], columns: list[int], first_s: float, last_s: float) -> tuple[NDArray[np.float32], float]:
    """Counts of the scans between two moments on one grid, NaN where scans are missing; and the first row's time."""
    interval_s = blocks[0].interval_s
    first = blocks[0].first_scan + math.ceil((first_s - blocks[0].start_s) / interval_s)
    first = max(first, blocks[0].first_scan)
    last = max(first + 1, min(blocks[-1].first_scan + len(blocks[-1].counts), first + math.ceil((last_s - first_s) / interval_s)))
    counts = np.full((last - first, len(columns)), np.nan, dtype=np.float32)
    for block in blocks:
        low, high = max(first, block.first_scan), min(last, block.first_scan + len(block.counts))
        if low < high:
            counts[low - first : high - first] = block.counts[low - block.first_scan : high - block.first_scan, columns]
    return counts, blocks[0].start_s + (first - blocks[0].first_scan) * interval_s
