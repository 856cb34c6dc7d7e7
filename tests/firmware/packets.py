"""Opens the packed form with the libraries cobs and fastcrc alone, so that the decoder does not judge the firmware."""

import struct
from dataclasses import dataclass, field

import numpy as np
from cobs import cobs
from fastcrc import crc16

IDENTITY, SAMPLES, HEALTH = 1, 2, 3


@dataclass(kw_only=True)
class Opened:
    """Everything of a stream, in order; ``broken`` counts packets that do not open."""

    kinds: list = field(default_factory=list)
    numbers: list = field(default_factory=list)
    sequences: list = field(default_factory=list)
    bodies: list = field(default_factory=list)
    broken: int = 0

    def of(self, kind):
        return [body for found, body in zip(self.kinds, self.bodies, strict=True) if found == kind]

    def scans(self, channels=8):
        """First index, counts of shape (scans, channels), for each samples packet."""
        runs = []
        for body in self.of(SAMPLES):
            first, size = struct.unpack_from("<IB", body)
            assert len(body) == 5 + size * channels * 2
            runs.append((first, np.frombuffer(body[5:], dtype="<i2").reshape(size, channels)))
        return runs

    def losses(self):
        """At each health packet: scans lost before the samples packet ahead of it, scans it tells, scans lost before the next one."""
        told, expected, lost = None, 0, 0
        for kind, body in zip(self.kinds, self.bodies, strict=True):
            if kind == SAMPLES:
                first = int.from_bytes(body[:4], "little")
                before, lost, expected = lost, lost + first - expected, first + body[4]
                if told is not None:
                    yield before, told, lost
                told = None
            elif kind == HEALTH:
                told = struct.unpack("<IHIB", body)[2]

    def healths(self):
        """(uptime_ms, supply_mv, dropped, reset bits) of each health packet."""
        return [struct.unpack("<IHIB", body) for body in self.of(HEALTH)]


def opened(wire):
    """Open a whole stream. It may stop in the middle of a packet; that last piece is left out."""
    assert wire[0] == 0, "a stream starts with one zero byte"
    found = Opened()
    for coded in wire[1 : wire.rindex(b"\0")].split(b"\0"):
        try:
            packet = cobs.decode(coded)
        except cobs.DecodeError:
            found.broken += 1
            continue
        if len(packet) < 6 or crc16.ibm_3740(packet[:-2]) != int.from_bytes(packet[-2:], "little"):
            found.broken += 1
            continue
        kind, number, sequence = struct.unpack_from("<BBH", packet)
        found.kinds.append(kind)
        found.numbers.append(number)
        found.sequences.append(sequence)
        found.bodies.append(packet[4:-2])
    return found


def identity(body):
    """Fields of an identity body: version, scan interval in ns, [(quantity, skew_us, scale, zero)], name."""
    version, interval_ns, count = struct.unpack_from("<BIB", body)
    channels = [struct.unpack_from("<BHff", body, 6 + 11 * channel) for channel in range(count)]
    name = body[7 + 11 * count :]
    assert len(name) == body[6 + 11 * count]
    return version, interval_ns, [(chr(quantity), *rest) for quantity, *rest in channels], name.decode()
