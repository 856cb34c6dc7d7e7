"""How far a reading can be trusted, and how many digits it supports."""

import math

import numpy as np
from numpy.typing import NDArray

from monitor.layout import ChannelCalibration
from monitor.metering.channels import ChannelTable

Floats = NDArray[np.float64]

NOISE_COUNTS = 1.0
"""Standard deviation of one conversion of a hobby board, quantisation included (common practice, no published source)."""
UNCALIBRATED_GAIN = 0.02
"""Standard uncertainty of a scale nobody checked: two divider resistors of 5 %, or a current sensor (common practice)."""
CALIBRATED_GAIN = 0.005
"""The same after calibration against a usual handheld meter (common practice, no published source)."""
UNCALIBRATED_ZERO_COUNTS = 1.5
CALIBRATED_ZERO_COUNTS = 0.3
OFF_COUNTS = 6.0
"""RMS counts below which an output counts as off."""


class Doubt:
    """Standard uncertainties of the figures of one board.

    Args:
        table: The board's channels.
        calibrations: Of each channel; the neutral one means that nobody calibrated it.
    """

    def __init__(self, table: ChannelTable, calibrations: list[ChannelCalibration]) -> None:
        checked = np.array([c != ChannelCalibration() for c in calibrations] + [False])
        self._gain = np.where(checked, CALIBRATED_GAIN, UNCALIBRATED_GAIN)
        zero = np.where(checked, CALIBRATED_ZERO_COUNTS, UNCALIBRATED_ZERO_COUNTS)
        self._table = table
        self._volts_zero = zero[table.volts] * np.abs(table.gain_of(table.volts))
        self._amps_zero = zero[table.amps] * np.abs(table.gain_of(table.amps))
        self._scans_a_second = 1 / table.interval_s
        self.volts_off: Floats = OFF_COUNTS * np.abs(table.gain_of(table.volts))

    def of(self, volts_rms: Floats, amps_rms: Floats, watts: Floats, cycles: float) -> tuple[Floats, Floats, Floats]:
        """Standard uncertainties of RMS volts, RMS amps and watts over so many cycles of about 1/55 s; shapes as given."""
        table = self._table
        scans = max(1.0, cycles / 55 * self._scans_a_second)
        volts = _of_rms(volts_rms, self._gain[table.volts], self._volts_zero, np.abs(table.gain_of(table.volts)), scans)
        amps = _of_rms(amps_rms, self._gain[table.amps], self._amps_zero, np.abs(table.gain_of(table.amps)), scans)
        # The power of a product: each factor's uncertainty with the other's size (GUM, law of propagation).
        power = np.hypot(volts * amps_rms, amps * volts_rms)
        return volts, amps, np.where(np.isfinite(watts), power, np.nan)


def _of_rms(rms: Floats, gain: Floats, zero: Floats, unit: Floats, scans: float) -> Floats:
    """Gain in proportion; noise falls with the number of scans; a wrong zero adds in squares, so it fades where RMS is large."""
    noise = unit * NOISE_COUNTS / math.sqrt(scans)
    lift = np.sqrt(rms**2 + zero**2 + (unit * NOISE_COUNTS) ** 2) - rms
    return np.asarray(np.sqrt((gain * rms) ** 2 + noise**2 + lift**2))


def decimals_supported(uncertainty: float, *, most: int = 3) -> int:
    """How many decimals a figure of this standard uncertainty supports.

    The last digit shown is the one that the uncertainty reaches: 0.3 V gives one decimal, 0.03 V two, 3 V none (the rule of one
    significant digit of uncertainty, with 2 digits kept where the first is a 1: GUM 7.2.6 leaves one or two).

    Args:
        uncertainty: In the figure's own unit; NaN or 0 gives none.
        most: Never more than this.
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 0
    return max(0, min(most, -math.floor(math.log10(uncertainty))))
