"""Samples to readings: volts, amps and watts over mains cycles."""

from monitor.metering.board_meter import BoardMeter
from monitor.metering.line_rows import LineRows

__all__ = ["BoardMeter", "LineRows"]
