"""How far a reading can be trusted, and how many digits it supports.

Contributions are added as the GUM has it: independent ones by their variances (JCGM 100:2008, 5.1.2), what two figures share by its
effect on their product, and what is known to be uncorrected straight on top (F.2.4.5). Limits without further knowledge count as
uniform (4.3.7). The factor for 95 % follows from the kurtosis of the sum, since one uniform contribution often outweighs all others.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import ChannelCalibration
from monitor.metering.board_supply import BoardSupply
from monitor.metering.calibration import meter_share
from monitor.metering.channels import ChannelTable
from monitor.values import AggregateBlock, ReadingBlock
from monitor.values.arrays import Floats

NOISE_COUNTS = 1.0
"""Standard deviation of one conversion of a hobby board, quantisation included (common practice, no published source)."""
SURELY = 1.5
"""What moves by so many times the noise is more than noise: 240 samples of it tell their deviation to within 5 %."""
RESISTOR_PARTS, RESISTOR_LIMIT = 4, 0.0047
"""A divider as wiring.md has it: two resistors above and two below, 1 % each, of which each takes 47 % into the gain (closed form)."""
SENSOR_LIMIT = 0.015
"""A Hall-effect sensor's scale at room temperature (wiring.md; common practice, no published source)."""
VOLTS_ZERO_PARTS, VOLTS_ZERO_LIMIT = 2, 0.00235
"""A divider's zero, as share of the converter's range: each of the two resistors below shifts it by so much (closed form, 1 %)."""
AMPS_ZERO_LIMIT = 0.003
"""A sensor rests within 15 mV of half of 5 V (wiring.md; common practice, no published source)."""
USUAL_READING = {"V": 14.0, "A": 3.0}
"""What the meter showed at a calibration of which the layout file keeps no uncertainty (common practice, no published source)."""
CALIBRATED_ZERO_COUNTS = 0.3
"""What is left of a zero that was taken once: the sensor warms up (common practice, no published source)."""
SUPPLY_LIMIT = 0.05
"""A board that does not measure its own supply has what USB allows: 4.75 to 5.25 V (USB 2.0, 7.2.2, from memory)."""
SAME_PORT_LIMIT = 0.005
"""How far that supply strays from where it was when a meter was held to the board (common practice, no published source)."""
TIMING_S = 5e-6
"""Standard deviation of the delay between volts and amps: two filters of 56 us with capacitors of 10 % (closed form, wiring.md)."""
LIFT = 1.5
"""A wrong zero z adds z squared to a mean square; its RMS over a uniform or normal z is 1.34 or 1.73 times half of its variance over the
reading (closed forms)."""
EDGE_S = 8e-6
"""Standard deviation of the place of a phase-cut waveform's edges beyond what the meter itself leaves open: filters whose parts are off by
10 % (3.3 us, closed form), edges of other shapes than a ramp, noise (from the oracle of the tests)."""
IN_STEP, IN_STEP_SCANS = 0.03, 0.1
"""Where a half cycle is so close to a whole number of scans, samples creep along an edge by no more than that from one to the next; for
seconds its place hangs on one of them, and is open by a tenth of a scan (from the oracle of the tests, 30 to 150 degrees)."""
PRODUCT_S = 30e-6
"""The same of volts times amps: amps that a winding smooths have no edge to tell what they were beside that of the volts, and two filters
that differ move two edges apart (from the oracle of the tests)."""
PEAKED = 1.6
"""AC with a higher crest factor and no edge that could be found may be cut all the same, on another phase of the mains than the grid:
a sine has 1.41, a filtered triac's output stays below 1.55 up to 60 degrees (closed form)."""
CENTRED = 0.2
"""Both half cycles of AC are much alike; half waves have a mean of 0.64 of their RMS (closed form)."""
UNSEEN_SCANS = 0.29
"""An edge that was not found lies anywhere within a scan (uniform, half of one either way)."""
HIDDEN = 10.0
"""A board's own filter of 56 us leaves a ninth of a ripple of 25 kHz (closed form, wiring.md), the fastest of usual throttles."""
OFF_COUNTS = 6.0
"""RMS counts below which an output counts as off."""


@dataclass(frozen=True, slots=True)
class _Spread:
    """A sum of independent contributions by its second and fourth cumulants; all that symmetric ones need."""

    variance: Floats
    fourth: Floats

    @classmethod
    def normal(cls, deviation: Floats) -> "_Spread":
        return cls(deviation**2, np.zeros_like(deviation))

    @classmethod
    def uniform(cls, limit: Floats, parts: int = 1) -> "_Spread":
        """So many equal uniform ones of this limit."""
        return cls(parts * limit**2 / 3, -parts * limit**4 * 2 / 15)

    def __add__(self, other: "_Spread") -> "_Spread":
        return _Spread(self.variance + other.variance, self.fourth + other.fourth)

    def times(self, factor: Floats) -> "_Spread":
        square = factor**2
        return _Spread(self.variance * square, self.fourth * square**2)

    def replaced(self, other: "_Spread", where: NDArray[np.bool_]) -> "_Spread":
        return _Spread(np.where(where, other.variance, self.variance), np.where(where, other.fourth, self.fourth))

    def half_width(self) -> Floats:
        """Of the interval that holds 95 %: 1.65 standard deviations of a uniform distribution, 1.96 of a normal one.

        The cubic between them is that of the kurtosis method (A. Botsiura and I. Zakharov, from memory); the tests hold it against
        drawn sums of uniform and normal ones.
        """
        kurtosis = self._kurtosis()
        return np.asarray((1.96 + 0.1 * kurtosis + 0.1085 * kurtosis**3) * np.sqrt(self.variance))

    def one_tail(self) -> Floats:
        """What 5 % lie beyond, on one side: 1.56 standard deviations of a uniform distribution, 1.645 of a normal one.

        The parabola is fitted to drawn sums of uniform and normal ones (JCGM 101), which it gives to within 2.5 %.
        """
        kurtosis = self._kurtosis()
        return np.asarray((1.645 - 0.058 * kurtosis - 0.118 * kurtosis**2) * np.sqrt(self.variance))

    def _kurtosis(self) -> Floats:
        return np.divide(self.fourth, self.variance**2, out=np.zeros_like(self.fourth), where=self.variance > 0)


@dataclass(frozen=True, slots=True)
class _Quantity:
    """Volts or amps of all districts.

    Attributes:
        unit: Shape (d,): units per count.
        scale: What the parts, or the meter, leave open of the scale, as shares.
        supply_limit: Shape (d,): and a supply that the board does not measure.
        zero: What is open of the zero, in units.
    """

    unit: Floats
    scale: _Spread
    supply_limit: Floats
    zero: _Spread

    @classmethod
    def of(
        cls, table: ChannelTable, channels: NDArray[np.intp], calibrations: Sequence[ChannelCalibration], quantity: str
    ) -> "_Quantity":
        unit = np.abs(table.gain_of(channels))
        own = [calibrations[k] if k >= 0 else ChannelCalibration() for k in channels.tolist()]
        has_zero = np.array([each != ChannelCalibration() for each in own], dtype=bool)
        has_gain = np.array(
            [each.gain != ChannelCalibration().gain or each.gain_uncertainty is not None for each in own], dtype=bool
        )
        meter = np.array([each.gain_uncertainty or meter_share(USUAL_READING[quantity]) for each in own])
        parts = _Spread.uniform(np.full(unit.shape, RESISTOR_LIMIT), RESISTOR_PARTS)
        if quantity == "A":
            parts = _Spread.uniform(np.full(unit.shape, SENSOR_LIMIT))
        span = unit * (table.rails[1] - table.rails[0])
        raw_zero = _Spread.uniform(AMPS_ZERO_LIMIT * span)
        if quantity == "V":
            raw_zero = _Spread.uniform(VOLTS_ZERO_LIMIT * span, VOLTS_ZERO_PARTS)
        return cls(
            unit=unit,
            scale=parts.replaced(_Spread.normal(meter), has_gain),
            supply_limit=np.where(has_gain, SAME_PORT_LIMIT, SUPPLY_LIMIT),
            zero=raw_zero.replaced(_Spread.normal(CALIBRATED_ZERO_COUNTS * unit), has_zero),
        )


class Doubt:
    """Half widths of 95 % intervals for the figures of one board.

    Args:
        table: The board's channels.
        calibrations: Of each channel; the neutral one means that nobody calibrated it.
        supply: What is open of the board's own supply.
        hertz: Nominal mains frequency.
    """

    def __init__(
        self, table: ChannelTable, calibrations: Sequence[ChannelCalibration], supply: BoardSupply, hertz: float
    ) -> None:
        self._supply = supply
        self._volts = _Quantity.of(table, table.volts, calibrations, "V")
        self._amps = _Quantity.of(table, table.amps, calibrations, "A")
        self._hertz = hertz
        self._late_rad = TIMING_S * 2 * np.pi * hertz
        self._interval_s = table.interval_s
        self.volts_off: Floats = OFF_COUNTS * self._volts.unit

    def volts_beyond_noise(self, district: int, counts: Floats) -> Floats:
        """What is left of a standard deviation in counts once the converter's noise is taken off, volts."""
        return np.asarray(self._volts.unit[district] * np.sqrt(np.maximum(0.0, counts**2 - (SURELY * NOISE_COUNTS) ** 2)))

    def half_widths(
        self, block: AggregateBlock | ReadingBlock, conduction_degrees: Floats, fast_ripple: Floats, edge_doubt: Floats
    ) -> Floats:
        """Half widths of volts, amps and watts, shape (3, n, d); NaN where there is no figure.

        Args:
            block: The figures.
            conduction_degrees: Shape (n, d): of phase-cut volts; NaN where they are not.
            fast_ripple: Shape (n, d): RMS volts of ripple that does not come from the mains, of which a filter may hide most.
            edge_doubt: Shape (2, n, d): what steep edges leave open of the mean squares of volts and amps.
        """
        scans = np.maximum(1.0, (block.end_s - block.start_s)[:, None] / self._interval_s)
        open_shares = self._supply.open_shares(block.end_s)
        one, other = self._volts, self._amps
        sizes = ((one, block.volts_rms, block.volts_mean), (other, block.amps_rms, block.amps_mean))
        # An edge of v volts that moves by some share of a half cycle changes its mean square by v squared times that share.
        edge_volts, moved = self._edges(block, conduction_degrees)
        place = moved * _of_square(edge_volts**2, block.volts_rms) / np.maximum(block.volts_rms, 1e-9)
        edges = [
            np.hypot(place * rms, _of_square(doubt, rms) / math.sqrt(3))
            for (_, rms, _), doubt in zip(sizes, edge_doubt, strict=True)
        ]
        volts, amps = (_of_rms(*each, scans) + _Spread.normal(edge) for each, edge in zip(sizes, edges, strict=True))
        watts = other.zero.times(block.volts_mean) + one.zero.times(block.amps_mean)
        watts += other.zero.times(np.sqrt(one.zero.variance) * np.ones_like(block.watts))
        watts += _Spread.normal(NOISE_COUNTS * np.hypot(one.unit * block.amps_rms, other.unit * block.volts_rms) / np.sqrt(scans))
        watts += _Spread.normal(self._late_rad * block.non_active_va)
        watts += (one.scale + other.scale).times(block.watts)
        watts += _Spread.normal(edges[0] * block.amps_rms + edges[1] * block.volts_rms)
        watts += _Spread.normal(PRODUCT_S * 2 * self._hertz * edge_volts * block.amps_rms)
        # What both scales share adds up in the product.
        unknown = np.isnan(open_shares)
        limits = np.where(unknown, np.stack([one.supply_limit, other.supply_limit])[:, None], 0.0)
        offs = np.where(unknown, 0.0, open_shares) + _hidden_share(block, fast_ripple)
        spreads, figures = (volts, amps, watts), (block.volts_rms, block.amps_rms, np.abs(block.watts))
        found = [
            _with_off(spread + _Spread.uniform(limit * figure), off * figure)
            for spread, limit, off, figure in zip(spreads, _with_sum(limits), _with_sum(offs), figures, strict=True)
        ]
        return np.stack(found)

    def _edges(self, block: AggregateBlock | ReadingBlock, conduction_degrees: Floats) -> tuple[Floats, Floats]:
        """How high steep edges of the volts are, 0 where there are none, and what is open of their place, as a share of the half cycle."""
        fired = np.radians(180 - conduction_degrees)
        unseen = np.isnan(fired) & (block.volts_crest > PEAKED) & (np.abs(block.volts_mean) < CENTRED * block.volts_rms)
        height = np.where(unseen, 1.0, np.nan_to_num(np.sin(np.minimum(fired, np.pi / 2))))
        half_cycle_scans = 1 / (2 * np.nan_to_num(block.frequency_hz, nan=self._hertz) * self._interval_s)
        in_step = (np.abs(half_cycle_scans - np.round(half_cycle_scans)) <= IN_STEP)[:, None]
        open_s = np.where(in_step, max(EDGE_S, IN_STEP_SCANS * self._interval_s), EDGE_S)
        return height * block.volts_peak, np.where(unseen, UNSEEN_SCANS * self._interval_s, open_s) * 2 * self._hertz


def _of_square(open_square: Floats, rms: Floats) -> Floats:
    """What is open of an RMS for what is of its square."""
    return np.divide(open_square, 2 * rms, out=np.zeros_like(rms), where=rms > 0)


def _with_sum(shares: Floats) -> Floats:
    """Of volts and amps, and of their product."""
    return np.concatenate([shares, shares.sum(axis=0)[None]])


def _with_off(spread: _Spread, off: Floats) -> Floats:
    """An interval that holds what was not corrected, too; where that outweighs all else, 5 % may lie beyond, all on one side."""
    return np.maximum(spread.half_width(), off + spread.one_tail())


def _hidden_share(block: AggregateBlock | ReadingBlock, fast_ripple: Floats) -> Floats:
    """By how much RMS volts, and amps that follow them, may be larger than they read for ripple that a filter hides."""
    share = np.divide(HIDDEN * fast_ripple, block.volts_rms, out=np.zeros_like(fast_ripple), where=block.volts_rms > 0)
    return np.asarray(np.sqrt(1 + np.nan_to_num(share) ** 2) - 1)


def _of_rms(quantity: _Quantity, rms: Floats, mean: Floats, scans: Floats) -> _Spread:
    """Scale in proportion; noise falls with the number of scans; a wrong zero adds straight to the mean and by its square to the rest."""
    share = np.divide(mean, rms, out=np.zeros_like(rms), where=rms > 0)
    lift = np.sqrt(rms**2 + LIFT * quantity.zero.variance + (NOISE_COUNTS * quantity.unit) ** 2) - rms
    noise = NOISE_COUNTS * quantity.unit / np.sqrt(scans)
    return quantity.scale.times(rms) + quantity.zero.times(share) + _Spread.normal(np.hypot(lift, noise))


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
