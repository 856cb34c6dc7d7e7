"""Half cycles to one-cycle readings."""

import numpy as np

from monitor.metering.half_cycles import HalfCycles
from monitor.values import ReadingBlock


class OneCycle:
    """Joins each two neighbouring half cycles to one cycle, in the sense of Urms(1/2) of IEC 61000-4-30 section 3.

    Args:
        board: The board's name.
        districts: Names of the columns.
    """

    def __init__(self, board: str, districts: tuple[str, ...]) -> None:
        self._board = board
        self._districts = districts
        self._last: HalfCycles | None = None

    def break_off(self) -> None:
        """What comes has nothing to do with the last half cycle."""
        self._last = None

    def feed(self, halves: HalfCycles) -> ReadingBlock | None:
        """Readings whose second half is among these; good says where nothing was clipped and there is a figure.

        Args:
            halves: Later than those fed before; those that meet without a hole make a reading.
        """
        pairs = halves if self._last is None else HalfCycles.joined([self._last, halves])
        self._last = halves.sliced(-1)
        meet = pairs.end_s[:-1] == pairs.start_s[1:]
        if not meet.any():
            return None
        block = self._block(pairs)
        return block if meet.all() else block.where(meet)

    def _block(self, pairs: HalfCycles) -> ReadingBlock:
        weights = (pairs.end_s - pairs.start_s)[:, None]
        weighted = pairs.means * weights
        means = (weighted[:, :-1] + weighted[:, 1:]) / (weights[:-1] + weights[1:])
        volts_rms, amps_rms, far_volts_rms = np.sqrt(means[2:5])
        sizes = pairs.peak_sizes
        peaks = np.maximum(sizes[:, :-1], sizes[:, 1:])
        volts_clipped, amps_clipped = ((each[:-1] > 0) | (each[1:] > 0) for each in pairs.clipped)
        return ReadingBlock(
            board=self._board,
            districts=self._districts,
            start_s=pairs.start_s[:-1],
            end_s=pairs.end_s[1:],
            volts_rms=volts_rms,
            amps_rms=amps_rms,
            volts_mean=means[0],
            amps_mean=means[1],
            watts=means[5],
            volts_peak=peaks[0],
            amps_peak=peaks[1],
            far_volts_rms=far_volts_rms,
            frequency_hz=pairs.hertz[1:],
            good=~(volts_clipped | amps_clipped) & np.isfinite(volts_rms) & np.isfinite(amps_rms),
            amps_clipped=amps_clipped,
        )
