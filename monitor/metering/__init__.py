"""Samples to readings: volts, amps and watts over mains cycles."""

from monitor.metering.board_meter import BoardMeter
from monitor.metering.board_supply import BoardHealth
from monitor.metering.line_rows import LineRows
from monitor.metering.metered import Metered, Trouble
from monitor.metering.readings import ReadingSpans

__all__ = ["BoardHealth", "BoardMeter", "LineRows", "Metered", "ReadingSpans", "Trouble"]
