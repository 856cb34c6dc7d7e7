"""A board on a pty that does all that boards and cables do to a watch, and keeps books of what it sent."""

# ruff: noqa: S311 - faults that are known, not secret

import contextlib
import fcntl
import os
import random
import select
import struct
import termios
import threading
import time
import tty

import numpy as np

from monitor.values import Health, ResetCause
from monitor.wire.encode import health_body, identity_body, packet, samples_body

TURN_S = 0.006
SETTLED_S = 0.1
"""Wall seconds from when somebody opened the port to the first byte: opening throws away what waits."""
BACKLOG_S = 2.0
"""Scans of so many seconds are held back where the port takes no more; scans beyond it are dropped, as their indices show."""
PACKET_SCANS = 15
DRAINED_WITHIN_S = 10.0
BAUD_OF = {getattr(termios, f"B{baud}"): baud for baud in (9_600, 19_200, 38_400, 57_600, 115_200, 230_400, 500_000, 1_000_000)}


def misread(data, sent_baud, read_baud):
    """What a port at another rate makes of bytes: frames of a start bit, eight data bits, low one first, and a stop bit."""
    frames = np.zeros((len(data), 10), dtype=np.uint8)
    frames[:, 1:9] = np.unpackbits(np.frombuffer(data, dtype=np.uint8)[:, None], axis=1, bitorder="little")
    frames[:, 9] = 1
    line = np.append(frames.reshape(-1), np.ones(20, dtype=np.uint8))
    bit, at, out = sent_baud / read_baud, 0, bytearray()
    while at < len(line):
        start = at + int(np.argmin(line[at:]))
        middles = (start + bit * (1.5 + np.arange(8))).astype(int)
        if line[start] or middles[-1] >= len(line):
            break
        out += np.packbits(line[middles], bitorder="little").tobytes()
        at = int(start + bit * 9.5) + 1
    return bytes(out)


class HostileBoard:
    """A packed board that plays counts round and round; what sends another form says so in the attributes of its class.

    Args:
        link: A path that leads to the port, and stays the same over unplugging.
        identity: What it says of itself.
        counts: Shape (scans, channels), at least a packet.
        now_s: The board's time; real time where none is given.
        backlog_s: In place of BACKLOG_S.
        baud: What its sketch sends at; a host that reads at another rate gets what a real port would make of it.

    Attributes:
        bytes_sent: Bytes that the port took.
        intact_scans: Scans in packets that the port took whole and unhurt.
        dropped_scans: Scans that the board itself dropped because nobody took its bytes.
        last_sent_s: Monotonic time when the port last took bytes of a scan.
        last_sent_at_s: The same by the board's own clock.
        shorted_counts: Played in place of the counts, scan for scan, as long as they are set.
        shorted_scans: Scans of them in packets that the port took whole and unhurt.
        shorted_at_s: When it took the first of them, by the board's own clock.
    """

    DELIMITER = b"\0"
    SCANS = PACKET_SCANS

    def __init__(self, link, identity, counts, *, now_s=time.monotonic, backlog_s=BACKLOG_S, seed=1, baud=None):
        self.link, self.identity = link, identity
        self._counts, self.shorted_counts = counts, None
        self._clock_s, self._backlog_s = now_s, backlog_s
        self._baud = baud
        self._dice = random.Random(seed)
        self._lock = threading.RLock()
        self._stop = threading.Event()
        self._began_s = now_s()
        self._scan, self._index, self._sequence, self._next_identity = 0, 0, 0, 0
        self._played = 0
        self._rest, self._rest_scans = b"", 0
        self._at_delimiter = self._is_shorted = False
        self.shorted_scans, self.shorted_at_s = 0, None
        self._noise = 0.0
        self._silent_until_s = 0.0
        self._cause = ResetCause.POWER_ON
        self._up_from_scan = 0
        self._restarts = False
        self._open_since_s = None
        self.bytes_sent = self.intact_scans = self.dropped_scans = 0
        self.last_sent_s = self.last_sent_at_s = None
        self._end = None
        self.plug_in()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug_in(self):
        """Plug in: the board starts anew; nothing is sent until somebody opens the port."""
        with self._lock:
            self.restart(0.0, ResetCause.POWER_ON)
            self._end, slave = os.openpty()
            tty.setraw(slave)
            os.set_blocking(self._end, False)
            name = os.ttyname(slave)
            # With no other hand on it, the board's end can see whether anybody has the port open.
            os.close(slave)
            self._open_since_s = None
            fresh = self.link.with_name(self.link.name + ".new")
            fresh.symlink_to(name)
            fresh.replace(self.link)

    def unplug(self, *, drained=False):
        """Pull the plug, at once or after everything written was read (ten seconds at most)."""
        with self._lock:
            if drained:
                self._wait_until_read()
            self.link.unlink(missing_ok=True)
            os.close(self._end)
            self._end = None

    def noise(self, share):
        """From now on this share of the bytes has a bit turned."""
        with self._lock:
            self._noise = share

    def be_silent(self, seconds):
        """Say nothing for so many seconds of the board; scans count on."""
        with self._lock:
            self._silent_until_s = self._now_s() + seconds

    def restart(self, away_s, cause=ResetCause.BROWN_OUT):
        """Be away for so many seconds of the board, then begin anew."""
        with self._lock:
            self.be_silent(away_s)
            self._cause, self._restarts = cause, True
            # What was cut off would stand before the next packet.
            self._at_delimiter &= not self._rest
            self._rest, self._rest_scans = b"", 0

    def skip(self, seconds):
        """Let so many seconds of the board pass unheard: the host was asleep and the port threw away what came."""
        with self._lock:
            self._began_s -= seconds
            self._rest, self._rest_scans = self.DELIMITER, 0
            self._skip_to_now()

    def flood(self, seconds, what=None):
        """Send noise, or the same bytes over and over, as fast as the port takes it; wall seconds."""
        ends_s = time.monotonic() + seconds
        with self._lock:
            self._rest_scans = 0
            while time.monotonic() < ends_s and self._end is not None:
                self._write(what or self._dice.randbytes(4096))
                select.select([], [self._end], [], 0.05)
            # A delimiter, so that the first packet after it is whole again.
            self._rest, self._at_delimiter = self.DELIMITER, True
            self._skip_to_now()

    def packet_again(self):
        """A packet that was sent already."""
        with self._lock:
            return b"\0" + self._packet(2, samples_body(max(0, self._index - PACKET_SCANS), self._counts[:PACKET_SCANS]))

    def is_opened(self):
        """Whether somebody has the port open and bytes flow."""
        with self._lock:
            return self._open_since_s is not None and time.monotonic() - self._open_since_s > SETTLED_S

    def behind_s(self):
        """Seconds of the board for which scans are due that its port did not take yet; none while nobody could read them."""
        is_read = self._end is not None and self._open_since_s is not None
        return self._now_s() - self._scan * self.identity.scan_interval_s if is_read else 0.0

    def stop(self, *, drained=True):
        """Fall silent and pull the plug."""
        self._stop.set()
        self._thread.join(10)
        if self._end is not None:
            self.unplug(drained=drained)

    def _run(self):
        while not self._stop.wait(TURN_S):
            with self._lock:
                self._turn()

    def _turn(self):
        if self._end is None or not self._watch_opening():
            return
        now_s = self._now_s()
        if now_s < self._silent_until_s:
            self._skip_to_now()
            return
        if self._restarts:
            self._restart()
        interval_s = self.identity.scan_interval_s
        if now_s - self._scan * interval_s > self._backlog_s:
            self.dropped_scans += self._skip_to_now()
        while self._flush() and (self._scan + self.SCANS) * interval_s <= now_s:
            self._make_packet()

    def _watch_opening(self):
        """True once the port is open and its opener has settled."""
        watcher = select.poll()
        watcher.register(self._end, select.POLLHUP)
        if watcher.poll(0):
            self._open_since_s, self._rest, self._rest_scans = None, b"", 0
            self._skip_to_now()
            return False
        if self._open_since_s is None:
            self._open_since_s = time.monotonic()
        if time.monotonic() - self._open_since_s < SETTLED_S:
            self._skip_to_now()
            return False
        return True

    def _skip_to_now(self):
        due = round(self._now_s() / self.identity.scan_interval_s)
        skipped = max(0, due - self._scan)
        self._scan += skipped
        self._index += skipped
        return skipped

    def _restart(self):
        self._restarts = False
        self._skip_to_now()
        self._index, self._sequence, self._next_identity, self._up_from_scan = 0, 0, 0, self._scan

    def _make_packet(self):
        self._rest, self._rest_scans = b"", 0
        if self._scan >= self._next_identity:
            self._next_identity = self._scan + round(1 / self.identity.scan_interval_s)
            self._introduce()
        rows = [(self._played + k) % len(self._counts) for k in range(self.SCANS)]
        self._played = rows[-1] + 1
        self._is_shorted = self.shorted_counts is not None
        played = self.shorted_counts if self._is_shorted else self._counts
        if self._add(self._scans(played[rows])):
            self._rest_scans = self.SCANS
        self._scan += self.SCANS
        self._index += self.SCANS

    def _introduce(self):
        self._add(b"\0" + self._packet(1, identity_body(self.identity)))
        self._add(self._packet(3, health_body(self._health(self.identity.number))))

    def _scans(self, counts):
        return self._packet(2, samples_body(self._index, counts))

    def _add(self, data):
        """Whether the packet can be understood: it and the delimiter before it are unhurt."""
        hurt = self._misread(self._hurt(data))
        is_intact = hurt == data and (self._at_delimiter or data.startswith(self.DELIMITER))
        self._at_delimiter = hurt.endswith(self.DELIMITER)
        self._rest += hurt
        return is_intact

    def _hurt(self, data):
        if not self._noise:
            return data
        hurt = bytearray(data)
        for at in range(len(hurt)):
            if self._dice.random() < self._noise:
                hurt[at] ^= 1 << self._dice.randrange(8)
        return bytes(hurt)

    def _misread(self, data):
        """A pty carries bytes whatever the rate; the board's end can see which one the host chose."""
        if self._baud is None:
            return data
        read_at = BAUD_OF.get(termios.tcgetattr(self._end)[4], 0)
        return data if read_at == self._baud else misread(data, self._baud, read_at or 110)

    def _packet(self, kind, body):
        data = packet(kind, self.identity.number, self._sequence, body)
        self._sequence = (self._sequence + 1) & 0xFFFF
        return data

    def _health(self, number):
        up_s = max(0.0, (self._scan - self._up_from_scan) * self.identity.scan_interval_s)
        low = self._cause is ResetCause.BROWN_OUT
        return Health(
            number=number,
            uptime_s=up_s,
            supply_volts=4.1 if low else 4.98,
            scans_dropped=self.dropped_scans,
            reset_causes=frozenset({self._cause}),
        )

    def _flush(self):
        """Whether everything made so far is written."""
        if self._rest:
            written = self._write(self._rest)
            self._rest = self._rest[written:]
            if not self._rest and self._rest_scans:
                self.intact_scans += self._rest_scans
                self.last_sent_s, self.last_sent_at_s = time.monotonic(), self._clock_s()
                if self._is_shorted:
                    self.shorted_scans += self._rest_scans
                    self.shorted_at_s = self.shorted_at_s or self.last_sent_at_s
        return not self._rest

    def _write(self, data):
        written = 0
        with contextlib.suppress(BlockingIOError):
            written = os.write(self._end, data)
        self.bytes_sent += written
        return written

    def _wait_until_read(self):
        """Until nothing waits in the pty three times running; its first buffer empties into the one that can be asked."""
        name = self.link.readlink()
        slave = os.open(name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            ends_s, empty = time.monotonic() + DRAINED_WITHIN_S, 0
            while empty < 3 and time.monotonic() < ends_s:
                time.sleep(0.02)
                (waiting,) = struct.unpack("i", fcntl.ioctl(slave, termios.FIONREAD, b"\0" * 4))
                empty = 0 if waiting else empty + 1
        finally:
            os.close(slave)

    def _now_s(self):
        return self._clock_s() - self._began_s
