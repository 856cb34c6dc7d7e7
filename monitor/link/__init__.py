"""The link: ports, their bytes, and the clocks on both sides; the only code that knows pyserial."""

from monitor.link.board_clock import BoardClock
from monitor.link.clock import HostClock
from monitor.link.ports import PortFound, find_ports
from monitor.link.serial_source import SerialSource

__all__ = ["BoardClock", "HostClock", "PortFound", "SerialSource", "find_ports"]
