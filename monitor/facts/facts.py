"""Facts: what both the past ticks and the last readings say of all districts, at full resolution and on one grid."""

import numpy as np

from monitor.facts.circuits import Circuits
from monitor.facts.clipping import unclipped
from monitor.facts.medians import median, medians
from monitor.facts.rows import Cut, Rows
from monitor.facts.ticks import TICK_S, Ticks
from monitor.values import ReadingBlock
from monitor.values.arrays import Floats

RIPPLE_ROWS = 6  # three cycles apart: wheels and brushes waver more slowly than a converter's noise
SIGNAL_VOLTS = 0.45  # electronic sound units react from about 1 V, of which a phase-cut output passes half (common practice)


class Facts:
    """Ticks of the past, readings of the last seconds, and the circuits they belong to."""

    def __init__(self, circuits: Circuits) -> None:
        self.circuits = circuits
        self.ticks = Ticks(circuits)
        self.rows = Rows(circuits.districts)
        # What happens to all districts at once makes each of them ask for the same.
        self._medians: dict[tuple[str, int, int], Floats] = {}

    def take(self, block: ReadingBlock) -> None:
        """Take readings, amps beyond the range of their sensor restored."""
        columns = [self.circuits.districts.index(name) for name in block.districts]
        block = unclipped(block, self.circuits.is_ac[columns])
        self.ticks.take(block)
        self.rows.take(block)

    def cut(self, district: int, first: int, last: int) -> Cut:
        """Readings of the ticks first..last-1."""
        return self.rows.cut(district, first * TICK_S, last * TICK_S)

    def median(self, name: str, district: int, first: int, last: int) -> float:
        """Median of a tick figure over ticks first..last-1; NaN where there is none."""
        values = getattr(self.ticks, name)[self.ticks.rows(first, last), district]
        return median(values)

    def medians(self, name: str, first: int, last: int) -> Floats:
        """The same of all districts, shape (d,), to be read only."""
        key = (name, first, last)
        found = self._medians.get(key)
        if found is None:
            values = getattr(self.ticks, name)[self.ticks.rows(first, last)]
            found = medians(values, 0) if len(values) else np.full(len(self.circuits), np.nan)
            self._medians[key] = found
        return found

    def signal_changed(self, district: int, first: int, last: int) -> bool:
        """Whether a DC signal began or ended on AC volts within the ticks first..last-1."""
        offset = self.ticks.offset_volts[self.ticks.rows(first, last), district]
        return bool(self.circuits.is_ac[district]) and bool(len(offset)) and float(np.ptp(offset)) > SIGNAL_VOLTS

    def ripple(self, district: int, first: int, last: int) -> float:
        """How much the amps of the ticks first..last-1 waver within some cycles, typically; never 0, inf where too few are known."""
        amps = self.cut(district, first, last).amps
        return median(np.abs(amps[RIPPLE_ROWS:] - amps[:-RIPPLE_ROWS])) + 1e-9 if len(amps) > 2 * RIPPLE_ROWS else np.inf

    def forget(self) -> None:
        """Let go of what no decision looks at any more."""
        self.rows.forget(self.ticks.end * TICK_S)
        self.ticks.forget()
        self._medians.clear()
