"""What kind of waveform an output gives."""

from dataclasses import dataclass

import numpy as np

from monitor.metering import thresholds as th
from monitor.metering.channels import ChannelTable
from monitor.metering.half_cycles import HalfCycles
from monitor.values import SampleBlock, WaveformKind
from monitor.values.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowShapes:
    """Volts of windows as kinds are told by them; all of shape (n, d).

    Attributes:
        rms: RMS volts.
        mean: Mean volts.
        top: Highest volts.
        bottom: Lowest volts.
        steep: Share of half cycles with a steep edge.
        rippled: Share of half cycles that are not smooth.
        one_way: Whether amps flow one way only.
        ripple: RMS of what is not the mean within half cycles.
        lopsided: Difference of the energy of odd and even half cycles about the mean, as a share of both.
        turn_cosine: Of the angle from each half cycle's mean volts to those of the next, about the mean: -1 where they go up and down by
            turns; NaN where there are too few to tell or nothing moves.
    """

    rms: Floats
    mean: Floats
    top: Floats
    bottom: Floats
    steep: Floats
    rippled: Floats
    one_way: Bools
    ripple: Floats
    lopsided: Floats
    turn_cosine: Floats

    @property
    def swing(self) -> Floats:
        """RMS volts about the mean."""
        return np.asarray(np.sqrt(np.maximum(0.0, self.rms**2 - self.mean**2)))

    @property
    def both_ways(self) -> Bools:
        """AC, whatever its offset."""
        swings = np.minimum(self.top, -self.bottom) >= th.BOTH_WAYS * np.maximum(self.top, -self.bottom)
        return np.asarray(swings & (self.lopsided < np.where(self.one_way, th.SLIGHTLY_LOPSIDED, th.LOPSIDED)))

    @property
    def doubtful(self) -> Bools:
        """Where it has to be looked into whether the mains makes the ripple: one way and not smooth, or not up and down by turns."""
        one_way = ~self.both_ways & (self.ripple >= th.SMOOTHEST * np.abs(self.mean))
        return np.asarray(one_way | (self.both_ways & (self.turn_cosine > th.BY_TURNS)))

    @classmethod
    def of(cls, halves: HalfCycles, starts: Ints, means: Floats) -> "WindowShapes":
        """Shapes of windows."""
        counts = np.diff(starts, append=len(halves))[:, None]

        def each(values: Floats) -> Floats:
            return np.repeat(values, counts[:, 0], axis=0)

        def total(values: Floats) -> Floats:
            return np.asarray(np.add.reduceat(values, starts, axis=0))

        rms, mean = np.sqrt(means[2]), means[0]
        ripple = np.maximum(0.0, halves.means[2] - halves.means[0] ** 2)
        energy = halves.means[2] - 2 * each(mean) * halves.means[0] + each(mean) ** 2
        odd = (halves.number % 2 == 1)[:, None]
        both, difference = total(energy), np.abs(total(np.where(odd, energy, -energy)))
        top, amps_top = np.maximum.reduceat(halves.peaks[:2], starts, axis=1)
        bottom, amps_bottom = np.minimum.reduceat(halves.peaks[2:], starts, axis=1)
        return cls(
            rms=rms,
            mean=mean,
            top=top,
            bottom=bottom,
            steep=total(halves.steep) / counts,
            rippled=total((ripple > each((th.RIPPLE_OF_DC * mean) ** 2)).astype(np.float64)) / counts,
            one_way=np.minimum(amps_top, -amps_bottom) < th.ONE_WAY * np.maximum(amps_top, -amps_bottom),
            ripple=np.sqrt(total(ripple) / counts),
            lopsided=np.divide(difference, both, out=np.zeros_like(both), where=both > 0),
            turn_cosine=_turn_cosine(halves.means[0] - each(mean), starts),
        )


def waveform_kinds(
    shapes: WindowShapes, off_below: Floats, fast_ripple: Floats
) -> tuple[tuple[tuple[WaveformKind, ...], ...], Bools, Bools]:
    """Name waveforms.

    Args:
        shapes: Of n windows.
        off_below: Shape (d,): RMS below which an output counts as off.
        fast_ripple: Shape (n, d): ripple that does not come from the mains, RMS volts; NaN where unknown.

    Returns:
        n tuples of d kinds, and where they are phase-cut and pulses, shape (n, d).
    """
    off = ~(shapes.rms >= off_below)
    both_ways = shapes.both_ways
    rippled = shapes.rippled >= th.MOST
    cut = ~off & both_ways & (shapes.steep >= th.SOME_STEEP)
    one_way = (rippled & _two_levels(shapes)) | (fast_ripple >= th.FAST_RIPPLE * np.abs(shapes.mean))
    pulses = ~off & np.where(both_ways, fast_ripple >= th.CHOPPED * shapes.swing, one_way)
    choices = {
        WaveformKind.OFF: off,
        WaveformKind.PHASE_CUT: cut,
        WaveformKind.SINE: both_ways,
        WaveformKind.PULSES: pulses,
        WaveformKind.RECTIFIED: rippled,
    }
    code = np.select(list(choices.values()), [_CODES.index(kind) for kind in choices], _CODES.index(WaveformKind.DC))
    return tuple(tuple(_CODES[k] for k in row) for row in code.tolist()), cut, pulses


def _two_levels(shapes: WindowShapes) -> Bools:
    """Taken from the lowest value up, so that a motor's own volts in the pauses do not hide the two levels."""
    downwards = shapes.mean < 0
    foot = np.where(downwards, -shapes.top, shapes.bottom)
    height = np.where(downwards, -shapes.bottom, shapes.top) - foot
    above = np.abs(shapes.mean) - foot
    square = shapes.rms**2 - 2 * foot * np.abs(shapes.mean) + foot**2
    return np.asarray(above * height < th.TWO_LEVELS * square)


def _turn_cosine(means: Floats, starts: Ints) -> Floats:
    """Of the angle a from one to the next of means that are a sampled sinusoid: m[k-1] + m[k+1] = 2 cos(a) m[k] (closed form)."""
    found = np.full((len(starts), means.shape[1]), np.nan)
    if len(means) < th.FEWEST_HALVES:
        return found
    beside, inside = np.zeros_like(means), np.zeros_like(means)
    beside[1:-1] = means[1:-1] * (means[:-2] + means[2:])
    inside[1:-1] = means[1:-1] ** 2
    for each in (beside, inside):
        each[starts] = each[starts - 1] = 0.0
    products, squares = np.add.reduceat(beside, starts, axis=0), np.add.reduceat(inside, starts, axis=0)
    return np.asarray(np.clip(np.divide(products, 2 * squares, out=found, where=squares > 0), -1.0, 1.0))


def other_mains_seen(shapes: WindowShapes, halves_hertz: Floats, hertz: float) -> Bools:
    """Where AC turns at 50 Hz on a grid of 60 or at 60 on one of 50, shape (n, d).

    An angle beyond half a turn from one half cycle of the grid to the next looks like what is missing to a whole one.

    Args:
        shapes: Of n windows.
        halves_hertz: Shape (n,): half cycles of the grid in a second.
        hertz: Nominal mains frequency.
    """
    turns = np.arccos(shapes.turn_cosine) / np.pi
    other = min(th.MAINS_HERTZ, key=lambda each: -abs(each - hertz))
    found = (turns if other < hertz else 2 - turns) * halves_hertz[:, None] / 2
    return np.asarray(shapes.both_ways & (np.abs(found - other) < th.NEAR_HERTZ))


def conduction_degrees(conduction: Floats, starts: Ints, cut: Bools) -> Floats:
    """Mean conduction angle of each window, shape (n, d); NaN where the waveform is not phase-cut."""
    if not cut.any():
        return np.full(cut.shape, np.nan)
    known = np.isfinite(conduction)
    total = np.add.reduceat(np.where(known, conduction, 0.0), starts, axis=0)
    count = np.add.reduceat(known.astype(np.float64), starts, axis=0)
    return np.where(cut & (count > 0), 180 * total / np.maximum(count, 1.0), np.nan)


_CODES = tuple(WaveformKind)


class FastRipple:
    """Compares each sample with those some cycles before: what the mains makes is the same in all, and falls out.

    So does a steady change, as of a throttle that is turned. Pulses remain, unless their frequency and that of the scans make them
    seem to keep step with the mains to within some hertz.
    """

    def __init__(self, table: ChannelTable, hertz: float) -> None:
        self._table = table
        cycle_scans = 1 / (hertz * table.interval_s)
        self._lags = [[cycles * cycle_scans * (1 + off) for cycles in th.CYCLES_BEFORE] for off in th.MAINS_OFF]
        self._longest = int(max(max(lags) for lags in self._lags)) + 1
        self._runs: list[list[SampleBlock]] = []

    def add(self, block: SampleBlock) -> None:
        """Samples that follow those added before."""
        if block.continues and self._runs:
            self._runs[-1].append(block)
        else:
            self._runs.append([block])

    def of(self, district: int, starts_s: Floats, ends_s: Floats) -> Floats:
        """Standard deviation of the ripple of a district's volts in each window, counts; NaN where too little lies before it."""
        found = np.full(len(starts_s), np.nan)
        channel, interval_s = self._table.volts[district], self._table.interval_s
        for run in self._runs:
            counts = np.concatenate([block.counts[:, channel] for block in run]).astype(np.float64)
            places = np.ceil((np.stack([starts_s, ends_s]) - run[0].start_s) / interval_s).astype(np.intp) - self._longest
            places = np.clip(places, 0, max(0, len(counts) - self._longest))
            told = places[1] - places[0] >= th.FEWEST_SAMPLES
            if told.any():
                found[told] = self._deviation(counts, places[:, told])
        return found

    def _deviation(self, counts: Floats, places: Ints) -> Floats:
        """The least, over what the mains may be, of what differs most over one lag or the other."""
        variances = [np.max([self._variance(counts, lag, places) for lag in lags], axis=0) for lags in self._lags]
        return np.asarray(np.sqrt(np.min(variances, axis=0)))

    def _variance(self, counts: Floats, lag: float, places: Ints) -> Floats:
        """Of what samples differ by from those a lag before, each of the two taken to vary alike."""
        whole, part = int(lag), lag % 1
        first = self._longest
        before = (1 - part) * counts[first - whole : len(counts) - whole] + part * counts[
            first - whole - 1 : len(counts) - whole - 1
        ]
        changes = counts[first:] - before
        sums = np.zeros((2, len(changes) + 1))
        np.cumsum(changes, out=sums[0, 1:])
        np.cumsum(changes**2, out=sums[1, 1:])
        edges = np.round(np.linspace(places[0], places[1], th.WINDOW_QUARTERS + 1)).astype(np.intp)
        mean, square = np.diff(sums[:, edges], axis=1) / np.diff(edges, axis=0)
        variance = np.partition(np.maximum(0.0, square - mean**2), 1, axis=0)[1]
        return np.asarray(variance / (1 + part**2 + (1 - part) ** 2))

    def forget(self, before_s: float) -> None:
        """No window that begins before this time will be asked for."""
        before_s -= (self._longest + 1) * self._table.interval_s
        for run in self._runs:
            while run and run[0].end_s <= before_s:
                del run[0]
        self._runs = [run for run in self._runs if run]
