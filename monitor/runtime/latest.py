"""The latest readings and samples of one board."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from monitor.layout import District, Layout
from monitor.runtime.picture import Wave
from monitor.standing import DistrictNow
from monitor.values import Finding, ReadingBlock, SampleBlock
from monitor.values.arrays import Floats

MEAN_OVER_S = 0.2
WAVE_S = 0.1
"""Samples kept for the wave: six cycles at 60 Hz."""
SILENT_OUTPUT_S = 5.0
"""Figures of an output that fell silent are given up this long after, while the others of its board go on."""
BLOCKS_KEPT = 2000
"""Upper limit on blocks held, whatever their times say; the oldest go first."""


class BoardLatest:
    """Holds what the figures and the wave of one board are made of."""

    def __init__(self, layout: Layout, board: str) -> None:
        self._layout = layout
        self._names = tuple(district.name for district in layout.districts_of_board(board))
        self._readings: deque[ReadingBlock] = deque(maxlen=BLOCKS_KEPT)
        self._samples: deque[SampleBlock] = deque(maxlen=BLOCKS_KEPT)
        self._last_end_s = np.full(len(self._names), np.nan)
        self._last_arrival_s = np.full(len(self._names), np.nan)

    def add_readings(self, block: ReadingBlock, arrived_s: float) -> None:
        """Take readings.

        Args:
            block: Of this board.
            arrived_s: The stream's clock when they came.
        """
        if not len(block):
            return
        self._readings.append(block)
        good = np.isfinite(block.volts_rms) | np.isfinite(block.amps_rms)
        fresh = good.any(axis=0)
        rows = len(block) - 1 - np.argmax(good[::-1], axis=0)
        self._last_end_s[fresh] = block.end_s[rows][fresh]
        self._last_arrival_s[fresh] = arrived_s
        # What no district's latest mean needs any more; a board that sends seldom keeps its last block at least.
        needed_from_s = float(np.nanmin(self._last_end_s)) - MEAN_OVER_S if fresh.any() else -np.inf
        oldest_s = float(block.end_s[-1]) - SILENT_OUTPUT_S
        while len(self._readings) > 1 and self._readings[0].end_s[-1] <= max(needed_from_s, oldest_s):
            self._readings.popleft()

    def add_samples(self, block: SampleBlock) -> None:
        """Take samples; a hole, a restart or another identity begins anew."""
        if self._samples and not (block.continues and block.identity == self._samples[-1].identity):
            self._samples.clear()
        self._samples.append(block)
        while len(self._samples) > 1 and self._samples[1].start_s < block.end_s - WAVE_S:
            self._samples.popleft()

    def district(self, name: str, now_s: float, findings: tuple[Finding, ...]) -> DistrictNow:
        """The latest figures of a district.

        Args:
            name: The district.
            now_s: The moment its age is counted to.
            findings: What stands against its sensing.
        """
        column = self._names.index(name)
        last_s = float(self._last_end_s[column])
        if not np.isfinite(last_s):
            return DistrictNow(name=name, findings=findings)
        # A board's time may run ahead of the stream's clock before its drift is known: arrival bounds it.
        known_s = min(last_s, float(self._last_arrival_s[column]))
        blocks = [block for block in self._readings if block.end_s[-1] > last_s - MEAN_OVER_S]
        if not blocks:
            return DistrictNow(name=name, age_s=max(0.0, now_s - known_s), findings=findings)
        ends = np.concatenate([block.end_s for block in blocks])
        rows = (ends > last_s - MEAN_OVER_S) & (ends <= last_s)

        def column_of(field: str) -> Floats:
            values: Floats = np.concatenate([getattr(block, field)[:, column] for block in blocks])[rows]
            return values[np.isfinite(values)]

        frequency = np.concatenate([block.frequency_hz for block in blocks])[rows]
        return DistrictNow(
            name=name,
            age_s=max(0.0, now_s - known_s),
            volts_rms=_rms(column_of("volts_rms")),
            amps_rms=_rms(column_of("amps_rms")),
            watts=_mean(column_of("watts")),
            volts_mean=_mean(column_of("volts_mean")),
            amps_mean=_mean(column_of("amps_mean")),
            volts_peak=_highest(column_of("volts_peak")),
            amps_peak=_highest(column_of("amps_peak")),
            far_volts_rms=_rms(column_of("far_volts_rms")),
            frequency_hz=_mean(frequency[np.isfinite(frequency)]),
            findings=findings,
        )

    def wave(self, district: District) -> Wave | None:
        """The last samples of a district in volts and amps; None where there are none or the board lacks its channels."""
        if not self._samples:
            return None
        last = self._samples[-1]
        channels = last.identity.channels
        if max(district.volts_channel, district.amps_channel) >= len(channels):
            return None
        counts = np.concatenate([block.counts for block in self._samples])
        kept = min(len(counts), max(1, round(WAVE_S / last.interval_s)))
        volts, amps = (self._units(last, counts[-kept:], k) for k in (district.volts_channel, district.amps_channel))
        return Wave(
            start_s=last.end_s - kept * last.interval_s,
            interval_s=last.interval_s,
            volts=volts,
            amps=amps,
            volts_skew_s=channels[district.volts_channel].skew_s,
            amps_skew_s=channels[district.amps_channel].skew_s,
        )

    def _units(self, block: SampleBlock, counts: NDArray[np.int16], channel: int) -> Floats:
        """Volts or amps of one channel, as the meter makes them."""
        described = block.identity.channels[channel]
        correction = self._layout.channel_calibration(block.board, channel)
        zero_counts = described.zero_counts + correction.zero
        return (counts[:, channel].astype(np.float64) - zero_counts) * (described.units_per_count * correction.gain)


def _rms(values: Floats) -> float | None:
    return float(np.sqrt(np.mean(values**2))) if len(values) else None


def _mean(values: Floats) -> float | None:
    return float(values.mean()) if len(values) else None


def _highest(values: Floats) -> float | None:
    return float(values.max()) if len(values) else None
