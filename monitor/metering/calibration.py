"""Zero and gain of one channel, fitted to readings of a meter."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.errors import CalibrationError
from monitor.metering import thresholds as th
from monitor.values import Channel
from monitor.values.arrays import Floats
from monitor.words.figures import percent

LIKELY_SLIPS = (
    (math.sqrt(2), "that is the peak for the RMS: take a meter, or its range, that shows true RMS"),
    (2 * math.sqrt(2), "that is peak to peak for the RMS: take a meter that shows true RMS"),
    (10.0, "that is a digit too many, or a point too far to the right"),
    (100.0, "that is two digits too many, or a point too far to the right"),
    (1000.0, "those are thousandths: enter volts and amps, not millivolts and milliamps"),
)
"""What the meter shows, as typed, over what the board shows, or the other way round, and what it likely is (common practice)."""

UNMEASURED = (
    "an electronic transformer looks like this, whose frequency the board cannot measure: then leave every scale as it is and use "
    "another supply"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """What the converter showed over a second or two.

    Attributes:
        mean_counts: Mean.
        spread_counts: Standard deviation about the mean: the AC part and the noise.
        samples: How many.
        moved_counts: By how much mean and spread of the second half differ from those of the first.
    """

    mean_counts: float
    spread_counts: float
    samples: int
    moved_counts: float = 0.0

    @classmethod
    def of(cls, counts: NDArray[np.int16] | Floats) -> "Observed":
        """Of samples of one channel, shape (n,), n at least 2."""
        half = (len(counts) + 1) // 2
        one, other = counts[:half], counts[half:]
        return cls(
            mean_counts=float(np.mean(counts)),
            spread_counts=float(np.std(counts)),
            samples=len(counts),
            moved_counts=math.hypot(float(np.mean(other) - np.mean(one)), float(np.std(other) - np.std(one))),
        )


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
    sizes = [_size(seen, at_zero) for _, seen in known]
    for size, (_, seen) in zip(sizes, known, strict=True):
        _check_seen(size, seen)
    shown = np.array(sizes) * abs(channel.units_per_count)
    meter = np.array([abs(reading) for reading, _ in known])
    gain, share = _gain(shown, meter, channel.quantity)
    return CalibrationFit(
        gain=gain,
        zero=zero,
        residuals=tuple((gain * shown - meter).tolist()),
        gain_uncertainty=share,
        zero_uncertainty_counts=zero_uncertainty,
        noise_counts=at_zero.spread_counts,
    )


def _check_seen(size: float, seen: Observed) -> None:
    if size < th.CALIBRATED_LEAST_COUNTS:
        raise CalibrationError(
            f"this reading moves the channel by {size:.0f} counts only: take one of at least {th.CALIBRATED_LEAST_COUNTS:.0f} counts, best "
            f"near the highest that the district ever sees; if it should move more, check that this is the right channel, or {UNMEASURED}"
        )
    if seen.moved_counts > th.MOVED_SHARE * size:
        raise CalibrationError(
            "the output moved while it was measured: let it stand still, with a lamp or a heater as load, and read again"
        )


def _zero(channel: Channel, at_zero: Observed) -> float:
    """Counts to be added to the board's own zero."""
    if at_zero.spread_counts > th.LOUDEST_ZERO_COUNTS:
        raise CalibrationError(
            f"at zero this channel still moves by {at_zero.spread_counts:.0f} counts: switch the output off, take every train off, and "
            "check that this is the right channel"
        )
    if at_zero.moved_counts > th.MOVED_ZERO_COUNTS:
        raise CalibrationError(
            f"at zero this channel moved by {at_zero.moved_counts:.1f} counts within two seconds: take every train and lamp off, and "
            "wait until the sensor is warm"
        )
    zero = at_zero.mean_counts - channel.zero_counts
    if abs(zero) > max(100.0, th.ZERO_LIMIT_SHARE * abs(channel.zero_counts)):
        raise CalibrationError(
            f"at zero this channel stands {zero:.0f} counts off the board's own zero: check that nothing is connected, and that this "
            "is the right channel"
        )
    return zero


def _size(seen: Observed, at_zero: Observed) -> float:
    square = seen.spread_counts**2 + (seen.mean_counts - at_zero.mean_counts) ** 2 - at_zero.spread_counts**2
    return math.sqrt(max(0.0, square))


def _gain(shown: Floats, meter: Floats, unit: str) -> tuple[float, float]:
    if not len(shown):
        return 1.0, math.nan
    doubt = meter_share(meter) * meter
    weights = 1 / doubt**2
    gain = float((weights * shown * meter).sum() / (weights * shown**2).sum())
    for one, reading in zip(shown.tolist(), meter.tolist(), strict=True):
        if not th.GAIN_LIMITS[0] <= reading / one <= th.GAIN_LIMITS[1]:
            raise CalibrationError(_slip(one, reading, unit))
    # A meter's share of error is the same at every reading, so several readings do not average it away.
    scatter = float(np.std(gain * shown - meter, ddof=1) / np.mean(meter)) if len(shown) > 1 else 0.0
    share = math.hypot(float(meter_share(meter.max())), scatter / math.sqrt(len(shown)))
    if share > th.GAIN_UNCERTAINTY_LIMIT:
        pairs = ", ".join(
            f"{reading:g} {unit} where the board shows {one:.2f}" for one, reading in zip(shown, meter, strict=True)
        )
        raise CalibrationError(
            f"these readings leave the gain open by {percent(share, 1)} ({pairs}): check each for a slip, and take larger ones, one of them "
            "near the highest that the district ever sees"
        )
    return gain, share


def _slip(shown: float, meter: float, unit: str) -> str:
    """What is likely wrong with a reading that no sound channel has."""
    ratio = meter / shown
    said = f"the meter shows, as typed, {meter:g} {unit} where the board shows {shown:.2f}: "
    if ratio >= th.HIDDEN_RATIO:
        said += f"{UNMEASURED}; otherwise "
    for factor, words in LIKELY_SLIPS:
        if abs(ratio / factor - 1) < th.SLIP_NEAR:
            return said + words
    if any(abs(ratio * factor - 1) < th.SLIP_NEAR for factor, _ in LIKELY_SLIPS[2:]):
        return said + "that is a digit too few, or a point too far to the left"
    return said + (
        "check for a slip such as 18 for 8, that this is the right channel, and that meter and board measure the same place; if "
        "all is right, correct the scale in the board's sketch first"
    )


def meter_share(reading: float | Floats) -> Floats:
    """Standard uncertainty of a usual handheld meter at this reading, as a share of it."""
    return np.asarray(np.hypot(th.METER_SHARE, th.METER_DIGITS / reading))
