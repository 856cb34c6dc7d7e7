"""The packed form: COBS-coded packets with a CRC, decoded a chunk at a time.

Limits: a decoded packet is at most 254 bytes, so a coded one is at most 255 (Cheshire and Baker 1999: one byte of overhead for
up to 254). Samples that come before an identity are kept up to :data:`HELD_BYTES_LIMIT`, the oldest dropped first.
"""

import struct
from collections import deque

import numpy as np
from cobs import cobs
from fastcrc import crc16

from monitor.values import Channel, Health, Identity, ResetCause
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item, SampleRun

PACKET_LIMIT_BYTES = 254
CODED_LIMIT_BYTES = 255
HELD_BYTES_LIMIT = 50_000
"""One second of the usual 500000 baud link; samples wait for an identity no longer than that."""

FORM_VERSION = 1
CHANNELS_LIMIT = 20
_HEAD = struct.Struct("<BBH")
_SAMPLES_HEAD = struct.Struct("<IB")
_CHANNEL = struct.Struct("<BHff")
_HEALTH = struct.Struct("<IHIB")
_IDENTITY, _SAMPLES, _HEALTH_TYPE = 1, 2, 3
_SHORTEST_BYTES = 6


class PackedDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    Attributes:
        packets: Good packets so far, of any type.
        sequence_holes: Packets missing by their sequence numbers so far.
    """

    def __init__(self) -> None:
        self._framer = Framer(delimiter=b"\0", limit_bytes=CODED_LIMIT_BYTES)
        self._identities: dict[int, Identity] = {}
        self._last_sequence: dict[int, int] = {}
        self._held: deque[tuple[int, bytes, int]] = deque()
        self._held_bytes = 0
        self._run = _RunBuilder()
        self.packets = 0
        self.sequence_holes = 0

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return self._framer.offset

    @property
    def knows_a_board(self) -> bool:
        """Whether any board has said who it is."""
        return bool(self._identities)

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere.

        Returns:
            Items in stream order. Sample packets that follow each other come as one run, as far as this chunk goes.
        """
        items: list[Item] = []
        for frame, offset, size in self._framer.feed(data):
            packet = self._open(frame, offset, size, items)
            if packet is not None:
                self._take(packet, offset, items)
        self._run.flush(items)
        return items

    def _open(self, frame: bytes | None, offset: int, size: int, items: list[Item]) -> bytes | None:
        packet, wrong = _unstuff(frame)
        if wrong is not None:
            _drop(items, wrong, offset, size)
            return None
        return packet

    def _take(self, packet: bytes, offset: int, items: list[Item]) -> None:
        kind, number, sequence = _HEAD.unpack_from(packet)
        self.packets += 1
        last = self._last_sequence.get(number)
        if last is not None:
            self.sequence_holes += (sequence - last - 1) & 0xFFFF
        self._last_sequence[number] = sequence
        if kind == _SAMPLES:
            self._take_samples(number, packet, offset, items)
            return
        self._run.flush(items)
        if kind == _IDENTITY:
            self._take_identity(number, packet, offset, items)
        elif kind == _HEALTH_TYPE:
            items.append(_health(number, packet) or Fault(kind=FaultKind.SHAPE, offset=offset, size=len(packet)))
        else:
            items.append(Fault(kind=FaultKind.UNKNOWN_TYPE, offset=offset, size=len(packet), detail=str(kind)))

    def _take_samples(self, number: int, packet: bytes, offset: int, items: list[Item]) -> None:
        identity = self._identities.get(number)
        if identity is None:
            self._hold(number, packet, offset, items)
            return
        body_start = _HEAD.size + _SAMPLES_HEAD.size
        channels = len(identity.channels)
        if len(packet) < body_start + 2:
            _drop(items, FaultKind.SHAPE, offset, len(packet))
            return
        first_scan, scans = _SAMPLES_HEAD.unpack_from(packet, _HEAD.size)
        if not scans or len(packet) != body_start + 2 * scans * channels + 2:
            _drop(items, FaultKind.SHAPE, offset, len(packet))
            return
        self._run.add((number, channels), first_scan, scans, packet[body_start:-2], items)

    def _hold(self, number: int, packet: bytes, offset: int, items: list[Item]) -> None:
        self._held.append((number, packet, offset))
        self._held_bytes += len(packet)
        while self._held_bytes > HELD_BYTES_LIMIT:
            _, oldest, oldest_offset = self._held.popleft()
            self._held_bytes -= len(oldest)
            _drop(items, FaultKind.NO_IDENTITY, oldest_offset, len(oldest))

    def _take_identity(self, number: int, packet: bytes, offset: int, items: list[Item]) -> None:
        made = _identity(number, packet, offset)
        items.append(made)
        if not isinstance(made, Identity):
            return
        self._identities[number] = made
        waiting = [held for held in self._held if held[0] == number]
        self._held = deque(held for held in self._held if held[0] != number)
        self._held_bytes = sum(len(packet) for _, packet, _ in self._held)
        for _, held_packet, held_offset in waiting:
            self._take_samples(number, held_packet, held_offset, items)


class _RunBuilder:
    """Joins sample packets that follow each other, so that arrays are made once a chunk and not once a packet."""

    def __init__(self) -> None:
        self._key: tuple[int, int] = (0, 0)
        self._first_scan = 0
        self._next_scan = 0
        self._parts: list[bytes] = []

    def add(self, key: tuple[int, int], first_scan: int, scans: int, body: bytes, items: list[Item]) -> None:
        if self._parts and (key != self._key or first_scan != self._next_scan):
            self.flush(items)
        if not self._parts:
            self._key = key
            self._first_scan = first_scan
        self._parts.append(body)
        self._next_scan = (first_scan + scans) & 0xFFFFFFFF

    def flush(self, items: list[Item]) -> None:
        if not self._parts:
            return
        number, channels = self._key
        counts = np.frombuffer(b"".join(self._parts), dtype="<i2").reshape(-1, channels)
        items.append(SampleRun(number=number, first_scan=self._first_scan, counts=counts))
        self._parts = []


def _unstuff(frame: bytes | None) -> tuple[bytes, FaultKind | None]:
    if frame is None:
        return b"", FaultKind.TOO_LONG
    try:
        packet: bytes = cobs.decode(frame)
    except cobs.DecodeError:
        return b"", FaultKind.STUFFING
    if len(packet) < _SHORTEST_BYTES:
        return b"", FaultKind.TOO_SHORT
    right = crc16.ibm_3740(packet[:-2]) == packet[-2] | packet[-1] << 8
    return packet, None if right else FaultKind.CHECKSUM


def _drop(items: list[Item], kind: FaultKind, offset: int, size: int) -> None:
    items.append(Fault(kind=kind, offset=offset, size=size))


def _identity(number: int, packet: bytes, offset: int) -> Identity | Fault:
    body = packet[_HEAD.size : -2]
    size = len(packet)
    if body[0] != FORM_VERSION:
        return Fault(kind=FaultKind.VERSION, offset=offset, size=size, detail=str(body[0]))
    shape_fault = Fault(kind=FaultKind.SHAPE, offset=offset, size=size, detail="identity")
    if len(body) < 7:
        return shape_fault
    interval_ns, count = struct.unpack_from("<IB", body, 1)
    name_at = 6 + count * _CHANNEL.size
    if not 1 <= count <= CHANNELS_LIMIT or not interval_ns or len(body) < name_at + 1:
        return shape_fault
    name = body[name_at + 1 :]
    if len(name) != body[name_at] or len(name) > 16:
        return shape_fault
    channels = [_channel(_CHANNEL.unpack_from(body, 6 + k * _CHANNEL.size)) for k in range(count)]
    if None in channels:
        return shape_fault
    return Identity(
        number=number,
        name=name.decode("utf-8", errors="replace"),
        scan_interval_s=interval_ns * 1e-9,
        channels=tuple(channel for channel in channels if channel is not None),
    )


def _channel(fields: tuple[int, int, float, float]) -> Channel | None:
    quantity, skew_us, scale, zero = fields
    if quantity not in (0x56, 0x41) or not np.isfinite(scale) or not np.isfinite(zero):
        return None
    return Channel(quantity="V" if quantity == 0x56 else "A", skew_s=skew_us * 1e-6, units_per_count=scale, zero_counts=zero)


def _health(number: int, packet: bytes) -> Health | None:
    if len(packet) != _HEAD.size + _HEALTH.size + 2:
        return None
    uptime_ms, supply_mv, dropped, bits = _HEALTH.unpack_from(packet, _HEAD.size)
    return Health(
        number=number,
        uptime_s=uptime_ms / 1000,
        supply_volts=supply_mv / 1000 if supply_mv else None,
        scans_dropped=dropped,
        reset_causes=frozenset(cause for cause in ResetCause if bits >> cause.value & 1),
    )
