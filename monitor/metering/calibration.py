"""Zero and gain of one channel, fitted to readings of a meter."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.errors import CalibrationError
from monitor.values import Channel

METER_SHARE = 0.008
METER_DIGITS_VOLTS_AMPS = 0.02
"""Standard uncertainty of a usual handheld meter's AC ranges: 0.8 % and two digits of 0.01 (common practice, no published source)."""
LEAST_COUNTS = 20.0
"""Known readings below this say more about noise than about gain."""
LOUDEST_ZERO_COUNTS = 6.0
"""A sound channel with nothing to measure moves by a count or two."""
GAIN_LIMITS = (0.5, 2.0)
"""A gain beyond means another channel, another range or a slip of the pen, not a sensor's tolerance."""
ZERO_LIMIT_SHARE = 0.1
"""A zero further off than this share of the board's own zero (or 100 counts) was not taken at zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """What the converter showed over a second or two.

    Attributes:
        mean_counts: Mean.
        spread_counts: Standard deviation about the mean: the AC part and the noise.
        samples: How many.
    """

    mean_counts: float
    spread_counts: float
    samples: int

    @classmethod
    def of(cls, counts: NDArray[np.int16]) -> "Observed":
        """Of samples of one channel, shape (n,), n at least 1."""
        return cls(mean_counts=float(np.mean(counts)), spread_counts=float(np.std(counts)), samples=len(counts))


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationFit:
    """What was fitted.

    Attributes:
        gain: Factor on the board's own scale.
        zero: Counts to be added to the board's own zero.
        residuals: For each known reading: what the calibrated channel shows less what the meter said, in its unit.
        gain_uncertainty: Standard uncertainty of the gain, as a share of it; NaN where no reading was known.
        zero_uncertainty_counts: Standard uncertainty of the zero.
        noise_counts: Standard deviation of one sample at zero.
    """

    gain: float
    zero: float
    residuals: tuple[float, ...]
    gain_uncertainty: float
    zero_uncertainty_counts: float
    noise_counts: float


def fit_calibration(channel: Channel, at_zero: Observed, known: Sequence[tuple[float, Observed]]) -> CalibrationFit:
    """Fit zero and gain.

    The zero is the mean at zero. The gain is the weighted least-squares line through it, weights from the meter's uncertainty
    (GUM, weighted mean of ratios); a channel's RMS has the noise at zero taken off in squares.

    Args:
        channel: As the board's identity has it.
        at_zero: Seen with nothing connected.
        known: Pairs of a meter's reading (RMS or DC, its sign does not matter) and what was seen meanwhile; may be empty.

    Raises:
        CalibrationError: A reading is too small, or zero or gain come out as no sensor has them.
    """
    zero = _zero(channel, at_zero)
    zero_uncertainty = math.hypot(at_zero.spread_counts / math.sqrt(at_zero.samples), 1 / math.sqrt(12) / 10)
    shown = np.array([_size(seen, at_zero) for _, seen in known])
    if (shown < LEAST_COUNTS).any():
        raise CalibrationError(
            f"this reading moves the channel by {shown.min():.0f} counts only: take one of at least {LEAST_COUNTS:.0f} counts, best "
            "near the highest that the district ever sees"
        )
    shown = shown * abs(channel.units_per_count)
    meter = np.array([abs(reading) for reading, _ in known])
    gain, share = _gain(shown, meter)
    residuals = tuple((gain * shown - meter).tolist())
    return CalibrationFit(
        gain=gain,
        zero=zero,
        residuals=residuals,
        gain_uncertainty=share,
        zero_uncertainty_counts=zero_uncertainty,
        noise_counts=at_zero.spread_counts,
    )


def _zero(channel: Channel, at_zero: Observed) -> float:
    """Counts to be added to the board's own zero."""
    if at_zero.spread_counts > LOUDEST_ZERO_COUNTS:
        raise CalibrationError(
            f"at zero this channel still moves by {at_zero.spread_counts:.0f} counts: switch the output off, take every train off, and "
            "check that this is the right channel"
        )
    zero = at_zero.mean_counts - channel.zero_counts
    if abs(zero) > max(100.0, ZERO_LIMIT_SHARE * abs(channel.zero_counts)):
        raise CalibrationError(
            f"at zero this channel stands {zero:.0f} counts off the board's own zero: check that nothing is connected, and that this "
            "is the right channel"
        )
    return zero


def _size(seen: Observed, at_zero: Observed) -> float:
    square = seen.spread_counts**2 + (seen.mean_counts - at_zero.mean_counts) ** 2 - at_zero.spread_counts**2
    return math.sqrt(max(0.0, square))


def _gain(shown: NDArray[np.float64], meter: NDArray[np.float64]) -> tuple[float, float]:
    if not len(shown):
        return 1.0, math.nan
    doubt = METER_SHARE * meter + METER_DIGITS_VOLTS_AMPS
    weights = 1 / doubt**2
    gain = float((weights * shown * meter).sum() / (weights * shown**2).sum())
    if not GAIN_LIMITS[0] <= gain <= GAIN_LIMITS[1]:
        raise CalibrationError(
            f"the meter's readings are {gain:.2f} times what the board shows: check the channel, the meter's range, and that both "
            "measure the same place"
        )
    # A meter's share of error is the same at every reading, so several readings do not average it away.
    scatter = float(np.std(gain * shown - meter, ddof=1) / np.mean(meter)) if len(shown) > 1 else 0.0
    return gain, math.hypot(
        METER_SHARE, math.hypot(METER_DIGITS_VOLTS_AMPS / float(meter.max()), scatter / math.sqrt(len(shown)))
    )
