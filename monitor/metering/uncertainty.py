"""How far a reading can be trusted, and how many digits it supports.

Contributions are added as the GUM has it: independent ones by their variances (JCGM 100:2008, 5.1.2), what two figures share by its
effect on their product, and what is known to be uncorrected straight on top (F.2.4.5). Limits without further knowledge count as
uniform (4.3.7). The factor for 95 % follows from the kurtosis of the sum, since one uniform contribution often outweighs all others.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.layout import ChannelCalibration
from monitor.metering import thresholds as th
from monitor.metering.board_supply import BoardSupply
from monitor.metering.calibration import meter_share
from monitor.metering.channels import ChannelTable
from monitor.values import AggregateBlock, ReadingBlock
from monitor.values.arrays import Bools, Floats, Ints


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

    def replaced(self, other: "_Spread", where: Bools) -> "_Spread":
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

    def half_width_beyond(self, off: Floats) -> Floats:
        """Of one that holds what was not corrected, too; where that outweighs all else, 5 % may lie beyond, all on one side.

        The exponential between both gives the exact width of a normal distribution to within 1 % (solved for 95 %).
        """
        share = np.divide(off, np.sqrt(self.variance), out=np.full_like(off, np.inf), where=self.variance > 0)
        one_tail = self.one_tail()
        return off + one_tail + (self.half_width() - one_tail) * np.exp(-th.TAILS_PART * share)

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
    def of(cls, table: ChannelTable, channels: Ints, calibrations: Sequence[ChannelCalibration], quantity: str) -> "_Quantity":
        unit = np.abs(table.gain_of(channels))
        own = [calibrations[k] if k >= 0 else ChannelCalibration() for k in channels.tolist()]
        has_zero = np.array([each != ChannelCalibration() for each in own], dtype=bool)
        has_gain = np.array(
            [each.gain != ChannelCalibration().gain or each.gain_uncertainty is not None for each in own], dtype=bool
        )
        meter = np.array([each.gain_uncertainty or meter_share(th.USUAL_READING[quantity]) for each in own])
        parts = _Spread.uniform(np.full(unit.shape, th.RESISTOR_LIMIT), th.RESISTOR_PARTS)
        if quantity == "A":
            parts = _Spread.uniform(np.full(unit.shape, th.SENSOR_LIMIT))
        span = unit * (table.rails[1] - table.rails[0])
        raw_zero = _Spread.uniform(th.AMPS_ZERO_LIMIT * span)
        if quantity == "V":
            raw_zero = _Spread.uniform(th.VOLTS_ZERO_LIMIT * span, th.VOLTS_ZERO_PARTS)
        return cls(
            unit=unit,
            scale=parts.replaced(_Spread.normal(meter), has_gain),
            supply_limit=np.where(has_gain, th.SAME_PORT_LIMIT, th.SUPPLY_LIMIT),
            zero=raw_zero.replaced(_Spread.normal(th.CALIBRATED_ZERO_COUNTS * unit), has_zero),
        )


class Doubt:
    """Half widths of 95 % intervals for the figures of one board."""

    def __init__(
        self, table: ChannelTable, calibrations: Sequence[ChannelCalibration], supply: BoardSupply, hertz: float
    ) -> None:
        self._supply = supply
        self._volts = _Quantity.of(table, table.volts, calibrations, "V")
        self._amps = _Quantity.of(table, table.amps, calibrations, "A")
        self._hertz = hertz
        self._late_rad = th.TIMING_S * 2 * np.pi * hertz
        self._interval_s = table.interval_s
        self.volts_off: Floats = th.OFF_COUNTS * self._volts.unit
        self.volts_restless: Floats = th.RESTLESS_COUNTS * self._volts.unit

    def volts_beyond_noise(self, district: int, counts: Floats) -> Floats:
        """What is left of a standard deviation in counts once the converter's noise is taken off, volts."""
        return np.asarray(self._volts.unit[district] * np.sqrt(np.maximum(0.0, counts**2 - (th.SURELY * th.NOISE_COUNTS) ** 2)))

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
        watts = self._of_watts(block, scans, edges, edge_volts * np.maximum(moved, th.PRODUCT_S * 2 * self._hertz))
        # What both scales share adds up in the product; what was not corrected makes the true figure, and so its spread, larger.
        unknown = np.isnan(open_shares)
        limits = np.where(unknown, np.stack([one.supply_limit, other.supply_limit])[:, None], 0.0)
        offs = np.where(unknown, 0.0, open_shares) + _hidden_share(block, fast_ripple)
        spreads, figures = (volts, amps, watts), (block.volts_rms, block.amps_rms, np.abs(block.watts))
        found = [
            (spread.times(1 + off) + _Spread.uniform(limit * figure)).half_width_beyond(off * figure)
            for spread, limit, off, figure in zip(
                spreads, (*limits, limits.sum(axis=0)), (*offs, (1 + offs).prod(axis=0) - 1), figures, strict=True
            )
        ]
        return np.stack(found)

    def _of_watts(
        self, block: AggregateBlock | ReadingBlock, scans: Floats, edges: list[Floats], edge_volts_moved: Floats
    ) -> _Spread:
        one, other = self._volts, self._amps
        watts = other.zero.times(block.volts_mean) + one.zero.times(block.amps_mean)
        watts += other.zero.times(np.sqrt(one.zero.variance) * np.ones_like(block.watts))
        watts += _Spread.normal(
            th.NOISE_COUNTS * np.hypot(one.unit * block.amps_rms, other.unit * block.volts_rms) / np.sqrt(scans)
        )
        watts += _Spread.normal(self._late_rad * block.non_active_va)
        watts += (one.scale + other.scale).times(block.watts)
        # Where much of both is open, so is the product of what is open.
        watts += _Spread.normal(edges[0] * block.amps_rms + edges[1] * block.volts_rms + edges[0] * edges[1])
        watts += _Spread.normal(edge_volts_moved * block.amps_rms)
        return watts

    def _edges(self, block: AggregateBlock | ReadingBlock, conduction_degrees: Floats) -> tuple[Floats, Floats]:
        """How high steep edges of the volts are, 0 where there are none, and what is open of their place, as a share of the half cycle."""
        fired = np.radians(180 - conduction_degrees)
        unseen = np.isnan(fired) & (block.volts_crest > th.PEAKED) & (np.abs(block.volts_mean) < th.CENTRED * block.volts_rms)
        height = np.where(unseen, 1.0, np.nan_to_num(np.sin(np.minimum(fired, np.pi / 2))))
        half_cycle_scans = 1 / (2 * np.nan_to_num(block.frequency_hz, nan=self._hertz) * self._interval_s)
        in_step = (np.abs(half_cycle_scans - np.round(half_cycle_scans)) <= th.IN_STEP)[:, None]
        open_s = np.where(in_step, max(th.EDGE_S, th.IN_STEP_SCANS * self._interval_s), th.EDGE_S)
        return height * block.volts_peak, np.where(unseen, th.UNSEEN_SCANS * self._interval_s, open_s) * 2 * self._hertz


def _of_square(open_square: Floats, rms: Floats) -> Floats:
    """What is open of an RMS for what is of its square."""
    return np.divide(open_square, 2 * rms, out=np.zeros_like(rms), where=rms > 0)


def _hidden_share(block: AggregateBlock | ReadingBlock, fast_ripple: Floats) -> Floats:
    """By how much RMS volts, and amps that follow them, may be larger than they read for ripple that a filter hides."""
    share = np.divide(th.HIDDEN * fast_ripple, block.volts_rms, out=np.zeros_like(fast_ripple), where=block.volts_rms > 0)
    return np.asarray(np.sqrt(1 + np.nan_to_num(share) ** 2) - 1)


def _of_rms(quantity: _Quantity, rms: Floats, mean: Floats, scans: Floats) -> _Spread:
    """Scale in proportion; noise falls with the number of scans; a wrong zero adds straight to the mean and by its square to the rest."""
    share = np.divide(mean, rms, out=np.zeros_like(rms), where=rms > 0)
    lift = np.sqrt(rms**2 + th.LIFT * quantity.zero.variance + (th.NOISE_COUNTS * quantity.unit) ** 2) - rms
    noise = th.NOISE_COUNTS * quantity.unit / np.sqrt(scans)
    return quantity.scale.times(rms) + quantity.zero.times(share) + _Spread.normal(np.hypot(lift, noise))


def decimals_supported(uncertainty: float, *, most: int = 3) -> int:
    """How many decimals a figure of this standard uncertainty supports.

    The last digit shown is the one that the uncertainty reaches: 0.3 V gives one decimal, 0.03 V two, 3 V none (the rule of one
    significant digit of uncertainty, with 2 digits kept where the first is a 1: GUM 7.2.6 leaves one or two).
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 0
    return max(0, min(most, -math.floor(math.log10(uncertainty))))
