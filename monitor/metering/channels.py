"""Which converter channels feed which figures, and what a count of each is worth."""

import numpy as np

from monitor.layout import Layout
from monitor.metering import thresholds as th
from monitor.values import Identity
from monitor.values.arrays import Floats, Ints


class ChannelTable:
    """The channels of one board under one identity, as arrays.

    Attributes:
        count: How many channels the board has.
        interval_s: Seconds between scans.
        gain: Shape (channels,): units per count, calibration included; NaN where the figure cannot be.
        zero: Shape (channels,): counts at zero, calibration included.
        skew_scans: Shape (channels,): conversion time within the scan, in scans.
        volts, amps, far: Shape (districts,): channel of each; -1 where there is none.
        tau_s: Time constant of the low-pass before each channel.
        implausible: Channels whose scale, zero or skew cannot be.
        rails: Lowest and highest count of the converter.
    """

    def __init__(self, layout: Layout, board: str, identity: Identity) -> None:
        channels = identity.channels
        corrections = [layout.channel_calibration(board, k) for k in range(len(channels))]
        pairs = list(zip(channels, corrections, strict=True))
        self.count = len(channels)
        self.interval_s = identity.scan_interval_s
        self.gain: Floats = np.array([c.units_per_count * k.gain for c, k in pairs], dtype=np.float64)
        self.zero: Floats = np.array([c.zero_counts + k.zero for c, k in pairs], dtype=np.float64)
        self.skew_scans: Floats = np.array([c.skew_s / self.interval_s for c in channels], dtype=np.float64)
        self.rails = _rails(self.zero)
        span = self.rails[1] - self.rails[0]
        reach = np.abs(self.gain) * span
        wrong = ~((reach >= th.FULL_SCALE_LIMITS[0]) & (reach <= th.FULL_SCALE_LIMITS[1]))
        wrong |= (np.abs(self.zero) > 40_000) | (self.skew_scans < 0) | (self.skew_scans >= 1)
        self.implausible: tuple[int, ...] = tuple(np.flatnonzero(wrong).tolist())
        self.gain[wrong] = np.nan
        self.skew_scans[wrong] = 0.0
        self.tau_s = next(b.filter_us for b in layout.board if b.name == board) * 1e-6
        districts = layout.districts_of_board(board)
        self.volts = self._index([d.volts_channel for d in districts])
        self.amps = self._index([d.amps_channel for d in districts])
        self.far = self._index([d.far_volts_channel for d in districts])

    def can_meter(self, hertz: float) -> bool:
        """False where the scan interval cannot be."""
        return th.SHORTEST_INTERVAL_S <= self.interval_s <= 1 / (hertz * th.FEWEST_SCANS_A_CYCLE)

    def gain_of(self, channels: Ints) -> Floats:
        """Units per count; NaN where there is no channel."""
        return np.append(self.gain, np.nan)[channels]

    def _index(self, channels: list[int | None]) -> Ints:
        return np.array([-1 if k is None or k >= self.count else k for k in channels], dtype=np.intp)


def _rails(zero: Floats) -> tuple[int, int]:
    """The converter's lowest and highest count, judged by where its zero lies.

    A zero half way up speaks of an unsigned converter of 8, 10, 12, 14 or 16 bits, one near 0 of a signed 16-bit one. The
    wire form does not say; this is how hobby boards are built (common practice, no published source).
    """
    highest = float(np.max(zero, initial=0.0))
    if highest < 64:
        return -32768, 32767
    return 0, next((2**bits - 1 for bits in (8, 10, 12, 14, 15) if 2**bits > 1.5 * highest), 32767)
