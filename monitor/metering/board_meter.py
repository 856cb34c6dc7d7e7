"""One board's meter: everything that its samples tell about its districts."""

import numpy as np

from monitor.layout import Layout
from monitor.metering.aggregation import Aggregator
from monitor.metering.channels import ChannelTable
from monitor.metering.cycle_sums import CycleSums
from monitor.metering.half_cycles import HalfCycles
from monitor.metering.mains_view import MainsView
from monitor.metering.metered import Metered
from monitor.metering.readings import OneCycle
from monitor.metering.uncertainty import Doubt
from monitor.values import Identity, SampleBlock


class BoardMeter:
    """Meters one board; results do not depend on how its samples are cut into blocks.

    Args:
        layout: The layout file.
        board: The board's name in it.
    """

    def __init__(self, layout: Layout, board: str) -> None:
        self._layout = layout
        self._board = board
        self._districts = layout.districts_of_board(board)
        self._names = tuple(district.name for district in self._districts)
        self._identity: Identity | None = None
        self._sums: CycleSums | None = None
        self._cycles = OneCycle(board, self._names)
        self._good = np.ones(len(self._names), dtype=bool)

    def missing_channels(self, identity: Identity) -> list[int]:
        """Channels that the layout file names and the board does not have."""
        wanted = [channel for d in self._districts for channel in (d.volts_channel, d.amps_channel, d.far_volts_channel)]
        return sorted(channel for channel in wanted if channel is not None and channel >= len(identity.channels))

    def feed(self, block: SampleBlock) -> Metered:
        """What came of this block."""
        metered = Metered()
        if block.identity is not self._identity:
            metered.add(self.finish())
            self._identify(block)
        if self._sums is None:
            return metered
        if not block.continues:
            metered.add(self.finish())
            self._cycles.break_off()
            self._aggregator.break_off()
            self._sums.begin(block.start_s)
        self._take(*self._sums.feed(block.counts), metered)
        return metered

    def finish(self) -> Metered:
        """The scans end here, for good or for a hole: what was held back."""
        metered = Metered()
        if self._sums is not None:
            self._take(*self._sums.close(), metered)
        return metered

    def _identify(self, block: SampleBlock) -> None:
        identity = self._identity = block.identity
        hertz = self._layout.mains.hertz
        table = ChannelTable(self._layout, self._board, identity)
        self._sums = None
        if not self._names or not table.can_meter(hertz):
            return
        calibrations = [self._layout.channel_calibration(self._board, k) for k in range(len(identity.channels))]
        doubt = Doubt(table, calibrations)
        self._sums = CycleSums(table, hertz)
        self._sums.begin(block.start_s)
        self._cycles.break_off()
        self._aggregator = Aggregator(self._board, self._names, hertz, doubt)

    def _take(self, halves: HalfCycles | None, view: MainsView | None, metered: Metered) -> None:
        del view
        if halves is None:
            return
        metered.readings += self._cycles.feed(halves, self._good)
        metered.aggregates += self._aggregator.feed(halves, self._good)
