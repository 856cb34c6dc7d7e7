"""Things to plug in: a pty that can be pulled out, and a board that talks over it."""

import contextlib
import os
import pty
import threading
import time
import tty

import numpy as np

from tests.runtime.streams import INTERVAL_S, sine_counts
from tests.wire.bytestreams import health_packet, identity, identity_packet, samples_packet

SCANS_A_PACKET = 30


class Plug:
    """A pty: the test holds the board's end, the program opens ``device``.

    With a link the device keeps its name over being pulled out and plugged in again, as a by-id name of a USB port does.
    """

    def __init__(self, link=None):
        self._link = link
        self.plug_in()

    def plug_in(self):
        self.board_end, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self.board_end, False)
        self.device = os.ttyname(self._slave)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(self.device)
            self.device = str(self._link)

    def send(self, data):
        """Send what fits; a board does not wait for its host either."""
        with contextlib.suppress(BlockingIOError):
            os.write(self.board_end, data)

    def pull_out(self):
        os.close(self.board_end)
        os.close(self._slave)
        if self._link is not None:
            self._link.unlink(missing_ok=True)


class TalkingBoard:
    """A packed board of four channels that talks through a plug in real time until it is stopped."""

    def __init__(self, plug, name="bench-1", number=0, volts_rms=(15.0, 12.0), amps_rms=(3.0, 1.0)):
        self._plug = plug
        self._identity = identity(channels=4, number=number, name=name)
        # A whole number of mains cycles, so that it can be played round and round.
        self._counts = sine_counts(INTERVAL_S * 6250, volts_rms, amps_rms)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def stop(self):
        self._stop.set()
        self._thread.join(60)

    def _talk(self):
        number, began_s, sequence, scan, seconds = self._identity.number, time.monotonic(), 0, 0, 0
        while not self._stop.wait(0.01):
            up_s = time.monotonic() - began_s
            out = b""
            if up_s >= seconds:
                out = b"\0" + identity_packet(self._identity, sequence) + health_packet(up_s, sequence + 1, number)
                sequence, seconds = sequence + 2, seconds + 1
            while (scan + SCANS_A_PACKET) * INTERVAL_S < up_s:
                out += samples_packet(scan, self._block(scan), sequence, number)
                scan, sequence = scan + SCANS_A_PACKET, sequence + 1
            self._plug.send(out)

    def _block(self, scan):
        return self._counts[np.arange(scan, scan + SCANS_A_PACKET) % len(self._counts)]


class TurnedBoard(TalkingBoard):
    """The same with throttles that a test turns: sines of known RMS through channels whose zero and gain the board does not know.

    Worked out here alone: the metering under test shares nothing with it but the identity's scale.
    """

    GAIN, ZERO_COUNTS = 1.03, 2.5

    def __init__(self, plug):
        self.rms = [0.0, 0.0, 0.0, 0.0]  # volts and amps of pair 1, volts and amps of pair 2
        self._noise = np.random.default_rng(5)
        super().__init__(plug)

    def _block(self, scan):
        channels = self._identity.channels
        at_s = (scan + np.arange(SCANS_A_PACKET))[:, None] * INTERVAL_S + np.array([channel.skew_s for channel in channels])
        scale = self.GAIN * np.array([channel.units_per_count for channel in channels])
        wave = np.sqrt(2) * np.array(self.rms) / scale * np.sin(2 * np.pi * 60 * at_s)
        counts = channels[0].zero_counts + self.ZERO_COUNTS + wave + self._noise.normal(0, 0.4, at_s.shape)
        return np.round(counts).astype(np.int16)


def until(condition, timeout_s=60.0):
    """Wait until a condition holds; what it returned. The limit only ends what hangs: machines may be slow."""
    end_s = time.monotonic() + timeout_s
    while time.monotonic() < end_s:
        if found := condition():
            return found
        time.sleep(0.02)
    raise AssertionError(f"{condition} did not come true within {timeout_s} s")
