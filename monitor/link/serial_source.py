"""Bytes of one serial port, as chunks; any device or URL that pyserial knows."""

import errno
import itertools
import time
from urllib.parse import urlsplit

import serial

from monitor.errors import LinkLostError, LinkUnavailableError
from monitor.link.clock import HostClock
from monitor.link.ports import access_remedy
from monitor.values import Chunk

READ_LIMIT_BYTES = 1 << 16
"""Most bytes of one chunk; the rest waits for the next read."""

PACES_S = (0.027, 0.034, 0.041)
"""Pauses between reads: short against what a page can show, long enough that a chunk is worth its handling, and uneven so that
they never fall into step with a board's packets, which would hide the shortest delays from the board's clock."""


class SerialSource:
    """Reads one port and never writes to it.

    Args:
        port: ``/dev/ttyUSB0``, ``COM3``, ``hwgrep://``, ``socket://host:port``, a pty.
        baud: Bits per second; means nothing to a pty or a socket.
        clock: Stamps the chunks.
    """

    def __init__(self, port: str, baud: int, clock: HostClock) -> None:
        self.port = port
        self._baud = baud
        self._clock = clock
        self._serial: serial.Serial | None = None
        self._paces_s = itertools.cycle(PACES_S)

    def open(self) -> None:
        """Open the port.

        Raises:
            LinkUnavailableError: There is no such port, no right to open it, or another program has it.
        """
        self.close()
        try:
            self._serial = serial.serial_for_url(self.port, baudrate=self._baud, timeout=0, exclusive=True)
            if hasattr(self._serial, "set_buffer_size"):  # Windows; its usual 4096 bytes are 0.1 s of a fast board
                self._serial.set_buffer_size(READ_LIMIT_BYTES)
        except (serial.SerialException, OSError, ValueError, AttributeError) as error:
            # AttributeError: what pyserial's own URL handlers trip over when a URL lacks its host or port.
            raise LinkUnavailableError(self._why_not(error), port=self.port) from error

    def read(self) -> Chunk:
        """What came since the last read, after a short pause; empty where nothing came.

        Raises:
            LinkLostError: The port went away.
        """
        time.sleep(next(self._paces_s))
        try:
            data = b"" if self._serial is None else _all_that_waits(self._serial)
        except (serial.SerialException, OSError, TypeError) as error:
            # TypeError: what pyserial's read trips over when the port is closed under it.
            raise LinkLostError(
                f"{self.port} went away: it was unplugged or its other end closed; plug it in again", port=self.port
            ) from error
        return Chunk(data=data, received_s=self._clock.now_s())

    def set_baud(self, baud: int) -> None:
        """Read on at another rate; bytes received at the old one are dropped.

        Raises:
            LinkLostError: The port went away, or cannot run at that rate.
        """
        if self._serial is None:
            return
        try:
            self._serial.baudrate = baud
            self._serial.reset_input_buffer()
        except (serial.SerialException, OSError, ValueError) as error:
            raise LinkLostError(
                f"{self.port} cannot be read at {baud} baud: check the cable and plug it in again", port=self.port
            ) from error

    def close(self) -> None:
        """Close the port, if open; never raises."""
        port, self._serial = self._serial, None
        if port is not None:
            try:
                port.close()
            except (serial.SerialException, OSError):
                return

    def _why_not(self, error: Exception) -> str:
        number = getattr(error, "errno", None)
        if isinstance(error.__context__, OSError) and number is None:
            number = error.__context__.errno
        if number == errno.EACCES:
            remedy = access_remedy(self.port) or "ask the owner of this computer for the right to read and write it"
            return f"no permission to open {self.port}: {remedy}"
        if number in (errno.EBUSY, errno.EWOULDBLOCK):
            return f"{self.port} is busy: another program has it open; close that program (a serial monitor, another watch)"
        if "://" in self.port:
            return self._why_not_url(error)
        if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or not hasattr(error, "errno"):
            return f"there is no port {self.port}: plug the board in, or see 'pilotlamp ports' for what is there"
        return f"{self.port} cannot be opened at {self._baud} baud ({_brief(error)}): is this a serial port?"

    def _why_not_url(self, error: Exception) -> str:
        scheme = urlsplit(self.port).scheme
        if scheme == "hwgrep":
            return f"no port fits {self.port}: plug the board in, or see 'pilotlamp ports' for what is there"
        if scheme == "socket" and ":" in urlsplit(self.port).netloc:
            return f"nothing answers at {self.port}: check the address and that its sender runs"
        return f"{self.port} cannot be opened ({_brief(error)}): write a device, hwgrep://PATTERN or socket://HOST:PORT"


def _all_that_waits(port: serial.Serial) -> bytes:
    """A system hands over 4096 bytes at a time, less than a fast board or a flood sends between two reads."""
    data = bytearray(port.read(READ_LIMIT_BYTES))
    try:
        while data and len(data) < READ_LIMIT_BYTES and (more := port.read(READ_LIMIT_BYTES - len(data))):
            data += more
    except (serial.SerialException, OSError, TypeError):
        # What came before the port went away is not lost; the next read says that it went.
        return bytes(data)
    return bytes(data)


def _brief(error: Exception) -> str:
    return str(error).splitlines()[0][:160] if str(error) else type(error).__name__
