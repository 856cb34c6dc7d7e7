"""Readings: what the meter makes of the samples."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBlock:
    """One-cycle readings of all districts of one board, refreshed every half cycle (or as a line board sends them).

    Rows are windows in order of time, n of them; columns are districts, d of them. NaN stands for "no reading".

    Attributes:
        board: The board's name in the layout file.
        districts: Names of the columns.
        start_s: Shape (n,): where each window begins.
        end_s: Shape (n,): where each window ends; a reading is known from this moment.
        volts_rms: Shape (n, d): root mean square over the window, like all of shape (n, d) below.
        amps_rms: RMS amps.
        volts_mean: Mean (DC) volts; NaN from a line board.
        amps_mean: Mean (DC) amps; NaN from a line board.
        watts: Real power, mean of volts times amps; NaN where a line board does not send it.
        volts_peak: Highest absolute volts in the window; NaN from a line board.
        amps_peak: Highest absolute amps in the window; NaN from a line board.
        far_volts_rms: RMS volts at the far end of the district; NaN where no channel measures it.
        frequency_hz: Shape (n,): mains frequency that the windows are locked to; NaN where there is none.
        good: Boolean, shape (n, d): False where a sensor is known to lie (clipped, stuck, crossed ...) so that the figures may
            not be shown as good; a clipped figure is a lower bound. None where nothing is known against any.
    """

    board: str
    districts: tuple[str, ...]
    start_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    volts_rms: NDArray[np.float64]
    amps_rms: NDArray[np.float64]
    volts_mean: NDArray[np.float64]
    amps_mean: NDArray[np.float64]
    watts: NDArray[np.float64]
    volts_peak: NDArray[np.float64]
    amps_peak: NDArray[np.float64]
    far_volts_rms: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    good: NDArray[np.bool_] | None = None

    def __len__(self) -> int:
        """How many rows."""
        return len(self.end_s)

    @property
    def volt_amperes(self) -> NDArray[np.float64]:
        """Apparent power S = Urms x Irms, shape (n, d) (IEEE 1459, single phase)."""
        return self.volts_rms * self.amps_rms

    @property
    def non_active_va(self) -> NDArray[np.float64]:
        """Non-active power N = sqrt(S2 - P2), shape (n, d) (IEEE 1459)."""
        return np.sqrt(np.maximum(0.0, self.volt_amperes**2 - self.watts**2))

    @property
    def power_factor(self) -> NDArray[np.float64]:
        """P / S, shape (n, d); NaN where S is 0."""
        return _ratio(self.watts, self.volt_amperes)

    @property
    def volts_crest(self) -> NDArray[np.float64]:
        """Peak over RMS of volts, shape (n, d); NaN where RMS is 0."""
        return _ratio(self.volts_peak, self.volts_rms)

    @property
    def amps_crest(self) -> NDArray[np.float64]:
        """Peak over RMS of amps, shape (n, d); NaN where RMS is 0."""
        return _ratio(self.amps_peak, self.amps_rms)


def _ratio(over: NDArray[np.float64], under: NDArray[np.float64]) -> NDArray[np.float64]:
    quotient = np.full(np.shape(under), np.nan)
    np.divide(over, under, out=quotient, where=np.asarray(under) > 0)
    return quotient
