"""A source in memory with a clock of its own: no waiting, no ports."""

import threading

from monitor.errors import LinkLostError, LinkUnavailableError
from monitor.values import Chunk

READ_S = 0.02


class FakeSource:
    """Plays a script; each read moves the clock by 20 ms. When the script is at its end the reader is stopped.

    A script is a list of bytes (a read's data), an exception class to raise at that read or opening, or a callable that is given
    the source.
    """

    def __init__(self, script, stop=None):
        self.script = list(script)
        self.stop = stop or threading.Event()
        self.at_s = 0.0
        self.baud = 500_000
        self.opened = 0
        self.closed = 0

    def now_s(self):
        return self.at_s

    def open(self):
        if self.script and self.script[0] is LinkUnavailableError:
            self.script.pop(0)
            raise LinkUnavailableError("there is no port fake: plug the board in", port="fake")
        self.opened += 1

    def read(self):
        self.at_s += READ_S
        if not self.script:
            self.stop.set()
            return Chunk(data=b"", received_s=self.at_s)
        what = self.script.pop(0)
        if what is LinkLostError:
            raise LinkLostError("fake went away: plug it in again", port="fake")
        data = what(self) if callable(what) else what
        return Chunk(data=data, received_s=self.at_s)

    def set_baud(self, baud):
        self.baud = baud

    def close(self):
        self.closed += 1


class InstantStop(threading.Event):
    """A stop event whose waiting moves the source's clock instead of taking time."""

    source = None

    def wait(self, timeout=None):
        if self.source is not None and timeout is not None:
            self.source.at_s += timeout
        return self.is_set()
