"""One board's meter: one-cycle readings of all its districts, refreshed every half cycle."""

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout
from monitor.metering.aggregation import Aggregator
from monitor.metering.integral import RunningIntegral
from monitor.metering.metered import Metered
from monitor.values import Identity, ReadingBlock, SampleBlock

Floats = NDArray[np.float64]


class BoardMeter:
    """Meters one board; results do not depend on how its samples are cut into blocks.

    Windows are one nominal mains cycle long, on a grid of half cycles in board time.
    """

    def __init__(self, layout: Layout, board: str) -> None:
        self._layout = layout
        self._board = board
        self._districts = layout.districts_of_board(board)
        self._names = tuple(district.name for district in self._districts)
        self._half_cycle_s = 0.5 / layout.mains.hertz
        self._aggregator = Aggregator(layout.mains.hertz)
        self._identity: Identity | None = None
        self._gain = np.ones(0)
        self._zero = np.zeros(0)
        self._tail = np.zeros((0, 0))
        self._tail_start_s = 0.0

    def missing_channels(self, identity: Identity) -> list[int]:
        """Channels that the layout file names and the board does not have."""
        wanted = [channel for d in self._districts for channel in (d.volts_channel, d.amps_channel, d.far_volts_channel)]
        return sorted(channel for channel in wanted if channel is not None and channel >= len(identity.channels))

    def feed(self, block: SampleBlock) -> Metered:
        """What came of this block: readings whose windows end within it, aggregates that became complete."""
        readings = self._readings(block)
        aggregates = [aggregate for made in readings for aggregate in self._aggregator.feed(made)]
        return Metered(readings=readings, aggregates=aggregates)

    def finish(self) -> Metered:
        """No more will come."""
        return Metered()

    def _readings(self, block: SampleBlock) -> list[ReadingBlock]:
        if block.identity is not self._identity:
            self._identify(block.identity)
        if not self._names:
            return []
        units = (block.counts - self._zero) * self._gain
        if block.continues and len(self._tail):
            units = np.concatenate([self._tail, units])
            start_s = self._tail_start_s
        else:
            start_s = block.start_s
        return self._windows(units, start_s, block.interval_s)

    def _identify(self, identity: Identity) -> None:
        self._identity = identity
        corrections = [self._layout.channel_calibration(self._board, k) for k in range(len(identity.channels))]
        self._gain = np.array([c.units_per_count * k.gain for c, k in zip(identity.channels, corrections, strict=True)])
        self._zero = np.array([c.zero_counts + k.zero for c, k in zip(identity.channels, corrections, strict=True)])
        self._tail = np.zeros((0, len(identity.channels)))

    def _windows(self, units: Floats, start_s: float, interval_s: float) -> list[ReadingBlock]:
        half_s = self._half_cycle_s
        end_s = start_s + len(units) * interval_s
        first = int(np.ceil(start_s / half_s - 1e-9))
        last = int(np.floor(end_s / half_s + 1e-9)) - 2
        kept_from = max(first, last + 1)
        rows_kept = max(0, int((kept_from * half_s - start_s) / interval_s))
        self._tail = units[rows_kept:]
        self._tail_start_s = start_s + rows_kept * interval_s
        if last < first:
            return []
        starts = np.arange(first, last + 1, dtype=np.float64) * half_s
        return [self._block(units, start_s, interval_s, starts)]

    def _block(self, units: Floats, start_s: float, interval_s: float, starts: Floats) -> ReadingBlock:
        edges = (starts - start_s) / interval_s
        width = 2 * self._half_cycle_s / interval_s
        volts, amps, far = self._columns(units)

        def mean(values: Floats) -> Floats:
            return RunningIntegral(values).means(edges, width)

        rows = np.clip(np.round(edges).astype(int), 0, max(0, len(units) - 1))
        peaks = np.append(rows, min(len(units), rows[-1] + round(width)))
        return ReadingBlock(
            board=self._board,
            districts=self._names,
            start_s=starts,
            end_s=starts + 2 * self._half_cycle_s,
            volts_rms=np.sqrt(mean(volts**2)),
            amps_rms=np.sqrt(mean(amps**2)),
            volts_mean=mean(volts),
            amps_mean=mean(amps),
            watts=mean(volts * amps),
            volts_peak=_peaks(volts, peaks),
            amps_peak=_peaks(amps, peaks),
            far_volts_rms=np.sqrt(mean(far**2)),
            frequency_hz=np.full(len(starts), self._layout.mains.hertz),
        )

    def _columns(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        padded = np.column_stack([units, np.full(len(units), np.nan)])
        nothing = padded.shape[1] - 1

        def pick(channels: list[int | None]) -> Floats:
            return padded[:, [nothing if c is None or c >= nothing else c for c in channels]]

        return (
            pick([d.volts_channel for d in self._districts]),
            pick([d.amps_channel for d in self._districts]),
            pick([d.far_volts_channel for d in self._districts]),
        )


def _peaks(values: Floats, rows: NDArray[np.int64]) -> Floats:
    """Highest absolute value over each two neighbouring half cycles."""
    halves = np.maximum.reduceat(np.abs(values), rows[:-1], axis=0)
    return np.maximum(halves, np.roll(halves, -1, axis=0)) if len(halves) > 1 else halves
