"""The board's side of both forms: for the rehearsal board and for tests; the watcher itself never sends."""

import struct

import numpy as np
from cobs import cobs
from fastcrc import crc16
from numpy.typing import NDArray

from monitor.values import Health, Identity
from monitor.wire.reading_lines import checksum

STREAM_START = b"\0"


def packet(kind: int, number: int, sequence: int, body: bytes) -> bytes:
    """One packet as it goes over the wire, delimiter included.

    Raises:
        ValueError: The packet would be longer than 254 bytes.
    """
    raw = struct.pack("<BBH", kind, number, sequence & 0xFFFF) + body
    raw += struct.pack("<H", crc16.ibm_3740(raw))
    if len(raw) > 254:
        raise ValueError(f"a packet of {len(raw)} bytes is longer than the 254 that the form allows: send fewer scans in one")
    coded: bytes = cobs.encode(raw)
    return coded + b"\0"


def identity_body(identity: Identity) -> bytes:
    """Body of an identity packet."""
    channels = b"".join(
        struct.pack(
            "<BHff",
            ord(channel.quantity),
            round(channel.skew_s * 1e6),
            channel.units_per_count,
            channel.zero_counts,
        )
        for channel in identity.channels
    )
    name = identity.name.encode()
    head = struct.pack("<BIB", 1, round(identity.scan_interval_s * 1e9), len(identity.channels))
    return head + channels + bytes([len(name)]) + name


def samples_body(first_scan: int, counts: NDArray[np.int16]) -> bytes:
    """Body of a samples packet; counts of shape (scans, channels)."""
    return struct.pack("<IB", first_scan & 0xFFFFFFFF, len(counts)) + counts.astype("<i2").tobytes()


def health_body(health: Health) -> bytes:
    """Body of a health packet."""
    bits = sum(1 << cause.value for cause in health.reset_causes)
    millivolts = round((health.supply_volts or 0) * 1000)
    return struct.pack("<IHIB", round(health.uptime_s * 1000) & 0xFFFFFFFF, millivolts, health.scans_dropped, bits)


def line(text: str, *, with_checksum: bool = False) -> bytes:
    """One line of the line form, line end included."""
    tail = f"*{checksum(text.encode()):02X}" if with_checksum else ""
    return f"{text}{tail}\n".encode()
