"""Ripple that does not come from the mains: pulses of a throttle, which the scans show at another frequency than their own."""

import numpy as np
from numpy.typing import NDArray

from monitor.metering import thresholds as th
from monitor.metering.channels import ChannelTable
from monitor.values import SampleBlock
from monitor.values.arrays import Floats


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

    def _deviation(self, counts: Floats, places: NDArray[np.intp]) -> Floats:
        """The least, over what the mains may be, of what differs most over one lag or the other."""
        variances = [np.max([self._variance(counts, lag, places) for lag in lags], axis=0) for lags in self._lags]
        return np.asarray(np.sqrt(np.min(variances, axis=0)))

    def _variance(self, counts: Floats, lag: float, places: NDArray[np.intp]) -> Floats:
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
