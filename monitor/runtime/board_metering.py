"""One board through the meter: sample blocks and lines in board time in, figures in board time out."""

from dataclasses import replace

import numpy as np

from monitor.layout import Layout
from monitor.metering import BoardHealth, BoardMeter, LineRows, Metered, Trouble
from monitor.metering.board_supply import supply_at_calibration
from monitor.values import Health, Identity, LineReadings, SampleBlock
from monitor.values.arrays import Floats


class BoardMetering:
    """Meters what one board sends; blocks of a chunk that follow each other are metered as one.

    Attributes:
        missing_channels: Channels that the layout names and the board does not have.
    """

    def __init__(self, layout: Layout, board: str, *, intervals: bool) -> None:
        self.missing_channels: tuple[int, ...] = ()
        self._meter = BoardMeter(layout, board, intervals=intervals)
        self._rows = LineRows(layout, board)
        reference_volts, is_corrected = supply_at_calibration(layout, board)
        self._health = BoardHealth(reference_volts, is_corrected=is_corrected)
        self._waiting: list[list[SampleBlock]] = []
        self._samples: list[SampleBlock] = []
        self._metered = Metered()

    def begin(self, identity: Identity) -> None:
        """Another identity is in force."""
        self._meter_waiting()
        self.missing_channels = tuple(self._meter.missing_channels(identity))

    def add_samples(self, block: SampleBlock) -> None:
        """Take samples; they wait for those that come with them, whatever the board says between them."""
        if self._waiting and block.continues:
            self._waiting[-1].append(block)
        else:
            self._waiting.append([block])

    def add_lines(self, lines: LineReadings, times_s: Floats) -> None:
        """Take readings of lines at these board times."""
        self._metered.add(self._rows.feed(lines, times_s))

    def add_health(self, health: Health, at_s: float) -> list[Trouble]:
        """Take what the board says of its own supply and time; what is wrong with it."""
        self._meter.note_supply(at_s, health.supply_volts)
        return list(self._health.judge(health, at_s))

    def finish(self) -> None:
        """No more will come."""
        self._meter_waiting()
        self._metered.add(self._rows.finish())
        self._metered.add(self._meter.finish())

    def drain(self) -> tuple[list[SampleBlock], Metered]:
        """Samples and figures since the last call."""
        self._meter_waiting()
        drained = self._samples, self._metered
        self._samples, self._metered = [], Metered()
        return drained

    def _meter_waiting(self) -> None:
        if not self._waiting:
            return
        blocks = [_joined(run) for run in self._waiting]
        self._waiting = []
        self._samples += blocks
        self._metered.add(self._meter.feed(*blocks))


def _joined(run: list[SampleBlock]) -> SampleBlock:
    """Blocks that follow each other, as one."""
    return run[0] if len(run) == 1 else replace(run[0], counts=np.concatenate([block.counts for block in run]))
