"""One board's meter: everything that its samples tell about its districts."""

from collections.abc import Iterator, Sequence

import numpy as np

from monitor.layout import Layout
from monitor.metering import thresholds as th
from monitor.metering.aggregation import Aggregator
from monitor.metering.board_supply import BoardSupply, SupplyRecord
from monitor.metering.channel_health import ChannelHealth, implausible_channels
from monitor.metering.channels import ChannelTable
from monitor.metering.cycle_sums import CycleSums
from monitor.metering.disturbances import DisturbanceDetector
from monitor.metering.half_cycles import HalfCycles
from monitor.metering.mains_view import MainsView
from monitor.metering.metered import Marker, Metered
from monitor.metering.phasing import PhaseComparator
from monitor.metering.readings import OneCycle
from monitor.metering.uncertainty import Doubt
from monitor.metering.waveform import FastRipple
from monitor.values import Identity, SampleBlock


class BoardMeter:
    """Meters one board; results do not depend on how its samples are cut into blocks.

    Args:
        layout: The layout file.
        board: The board's name in it.
        intervals: Whether one-cycle readings have uncertainties, too, as aggregates always have.
    """

    def __init__(self, layout: Layout, board: str, *, intervals: bool = False) -> None:
        self._layout = layout
        self._board = board
        self._districts = layout.districts_of_board(board)
        self._names = tuple(district.name for district in self._districts)
        self._identity: Identity | None = None
        self._sums: CycleSums | None = None
        self._record = SupplyRecord()
        self._intervals = intervals
        self._marker = Marker(len(self._names))
        self._disturbances = DisturbanceDetector(board, self._names)
        self._phasing = PhaseComparator(layout, board)

    def missing_channels(self, identity: Identity) -> list[int]:
        """Channels that the layout file names and the board does not have."""
        wanted = [channel for d in self._districts for channel in (d.volts_channel, d.amps_channel, d.far_volts_channel)]
        return sorted(channel for channel in wanted if channel is not None and channel >= len(identity.channels))

    def note_supply(self, at_s: float, volts: float | None) -> None:
        """What the board says of its own supply at this board time, None where it does not measure it; before later samples are fed."""
        if volts is not None:
            self._record.note(at_s, volts)

    def feed(self, *blocks: SampleBlock) -> Metered:
        """What came of blocks in order of time; many that begin after holes cost little more at once than one does."""
        metered = Metered()
        for some in _stretches(blocks):
            if some[0].identity is not self._identity:
                metered.add(self.finish())
                metered.add(self._identify(some[0]))
            if self._sums is not None:
                for block in some:
                    self._ripple.add(block)
                metered.add(self._summed(self._sums, some))
        return metered

    def finish(self) -> Metered:
        """The scans end here, for good or for a hole: what was held back."""
        if self._sums is not None:
            return self._taken(*self._sums.close())
        return Metered()

    def _summed(self, sums: CycleSums, blocks: list[SampleBlock]) -> Metered:
        """What came of blocks of one identity, of which only the first may follow without a hole."""
        parts = []
        runs = blocks
        if blocks[0].continues:
            parts.append(sums.feed(blocks[0].counts))
            runs = blocks[1:]
        if runs:
            parts.append(sums.close())
            if len(runs) > 1:
                parts += sums.whole([(run.start_s, run.counts) for run in runs[:-1]])
            sums.begin(runs[-1].start_s)
            parts.append(sums.feed(runs[-1].counts))
        halves = [part for part, _ in parts if part is not None]
        return self._taken(HalfCycles.joined(halves) if halves else None, [view for _, views in parts for view in views])

    def _identify(self, block: SampleBlock) -> Metered:
        identity = self._identity = block.identity
        hertz = self._layout.mains.hertz
        table = ChannelTable(self._layout, self._board, identity)
        self._sums = None
        metered = Metered(troubles=implausible_channels(table, block.start_s, can_meter=table.can_meter(hertz)))
        if not self._names or not table.can_meter(hertz):
            return metered
        calibrations = [self._layout.channel_calibration(self._board, k) for k in range(len(identity.channels))]
        self._sums = CycleSums(table, hertz)
        self._sums.begin(block.start_s)
        self._supply = BoardSupply(self._layout, self._board, table, self._record)
        self._ripple = FastRipple(table, hertz)
        doubt = Doubt(table, calibrations, self._supply, hertz)
        self._cycles = OneCycle(self._board, self._names, doubt if self._intervals else None)
        self._aggregator = Aggregator(self._board, self._names, hertz, doubt, self._ripple)
        ac = [self._layout.supply_named(district.supply).current == "ac" for district in self._districts]
        self._watch = ChannelHealth(table, np.array(ac, dtype=bool))
        return metered

    def _taken(self, halves: HalfCycles | None, views: list[MainsView]) -> Metered:
        metered = Metered()
        if halves is None:
            return metered
        halves = self._supply.corrected(halves)
        gathered = self._aggregator.feed(halves)
        told_s = np.zeros(0)
        if gathered is not None:
            troubles, good, stuck = self._watch.feed(gathered)
            metered.troubles += troubles
            told_s = gathered.told_s
            metered.aggregates.append(self._marker.aggregates(gathered.block, good, stuck))
            self._marker.note(told_s, good, stuck)
        readings = self._cycles.feed(halves)
        if readings is not None:
            metered.readings.append(self._marker.readings(readings))
        self._record.forget(float(halves.end_s[-1]) - th.KEPT_S)
        self._ripple.forget(float(halves.end_s[-1]) - th.KEPT_S)
        metered.disturbances += self._disturbances.feed(metered.readings, metered.aggregates, told_s)
        metered.phasings += self._phasing.feed(views, metered.aggregates)
        return metered


def _stretches(blocks: Sequence[SampleBlock]) -> Iterator[list[SampleBlock]]:
    """Blocks of one identity together, of which only the first may follow without a hole."""
    stretch: list[SampleBlock] = []
    for block in blocks:
        if stretch and (block.continues or block.identity is not stretch[0].identity):
            yield stretch
            stretch = []
        stretch.append(block)
    if stretch:
        yield stretch
