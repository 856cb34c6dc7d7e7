"""The packed form: COBS-coded packets with a CRC, decoded a chunk at a time.

Limits: a decoded packet is at most 254 bytes, so a coded one is at most 255 (Cheshire and Baker 1999: one byte of overhead for
up to 254). Samples that come before an identity are kept up to :data:`monitor.wire.thresholds.HELD_BYTES`, the oldest dropped first.
"""

import functools
import struct
from collections import deque
from collections.abc import Callable

import numpy as np
from cobs import cobs
from fastcrc import crc16

from monitor.values import Channel, Health, Identity, ResetCause
from monitor.wire import thresholds as th
from monitor.wire.framing import Framer
from monitor.wire.items import Fault, FaultKind, Item, SampleRun

CODED_LIMIT_BYTES = 255
FORM_VERSION = 1
CHANNELS_LIMIT = 20
_HEAD = struct.Struct("<BBH")
_SAMPLES_HEAD = struct.Struct("<IB")
_CHANNEL = struct.Struct("<BHff")
_HEALTH = struct.Struct("<IHIB")
_IDENTITY, _SAMPLES, _HEALTH_TYPE = 1, 2, 3
_SHORTEST_BYTES = 6
_BODY_AT = _HEAD.size + _SAMPLES_HEAD.size


class PackedDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    Attributes:
        packets: Good packets so far, of any type.
    """

    def __init__(self) -> None:
        self._framer = Framer(delimiter=b"\0", limit_bytes=CODED_LIMIT_BYTES)
        self._identities: dict[int, Identity] = {}
        self._held: deque[tuple[int, bytes, int]] = deque()
        self._held_bytes = 0
        self.packets = 0

    @property
    def offset(self) -> int:
        """Bytes taken in so far."""
        return self._framer.offset

    @property
    def knows_a_board(self) -> bool:
        """Whether any board has identified itself."""
        return bool(self._identities)

    def feed(self, data: bytes) -> list[Item]:
        """Take bytes in, cut anywhere.

        Returns:
            Items in stream order. Sample packets that follow each other come as one run, as far as this chunk goes.
        """
        text, end, skipped_bytes = self._framer.feed(data)
        frames = text.split(b"\0")[:-1]
        packets = _unstuffed(frames)
        crcs = list(map(crc16.ibm_3740, [packet[:-2] for packet in packets]))
        items: list[Item] = []
        k = 0
        while k < len(frames):
            size, skipped_bytes = len(frames[k]) + skipped_bytes, 0
            end += len(frames[k]) + 1
            wrong = _fault_of(size, packets[k], crcs[k])
            count = 1
            if wrong is None:
                count = self._take(packets, crcs, k, end, items)
                self.packets += count
                end += sum(map(len, frames[k + 1 : k + count])) + count - 1
            elif size:
                items.append(Fault(kind=wrong, offset=end, size=size))
            k += count
        return items

    def _take(self, packets: list[bytes], crcs: list[int], k: int, end: int, items: list[Item]) -> int:
        """Take a good packet, and those that follow it where it is one of samples.

        Returns:
            How many packets that were.
        """
        packet = packets[k]
        kind, number = packet[0], packet[1]
        if kind == _SAMPLES and number in self._identities:
            run = _samples(packets, crcs, k, len(self._identities[number].channels))
            items.append(run or Fault(kind=FaultKind.SHAPE, offset=end, size=len(packet)))
            return len(run.counts) // packet[_BODY_AT - 1] if run else 1
        if kind == _SAMPLES:
            self._hold(packet, end, items)
        elif kind == _IDENTITY:
            self._take_identity(number, packet, end, items)
        elif kind == _HEALTH_TYPE:
            items.append(_health(number, packet) or Fault(kind=FaultKind.SHAPE, offset=end, size=len(packet)))
        else:
            items.append(Fault(kind=FaultKind.UNKNOWN_TYPE, offset=end, size=len(packet), detail=str(kind)))
        return 1

    def _hold(self, packet: bytes, end: int, items: list[Item]) -> None:
        self._held.append((packet[1], packet, end))
        self._held_bytes += len(packet)
        while self._held_bytes > th.HELD_BYTES:
            _, oldest, oldest_end = self._held.popleft()
            self._held_bytes -= len(oldest)
            items.append(Fault(kind=FaultKind.NO_IDENTITY, offset=oldest_end, size=len(oldest)))

    def _take_identity(self, number: int, packet: bytes, end: int, items: list[Item]) -> None:
        made = _identity(number, packet[_HEAD.size : -2])
        if not isinstance(made, Identity):
            items.append(Fault(kind=made[0], offset=end, size=len(packet), detail=made[1]))
            return
        items.append(made)
        self._identities[number] = made
        waiting = [held for held in self._held if held[0] == number]
        self._held = deque(held for held in self._held if held[0] != number)
        self._held_bytes = sum(len(packet) for _, packet, _ in self._held)
        for _, held_packet, held_end in waiting:
            run = _samples([held_packet], [], 0, len(made.channels))
            items.append(run or Fault(kind=FaultKind.SHAPE, offset=held_end, size=len(held_packet)))


def _samples(packets: list[bytes], crcs: list[int], k: int, channels: int) -> SampleRun | None:
    """A packet of samples and all that follow it without a hole; None where its lengths do not fit."""
    packet = packets[k]
    scans = packet[_BODY_AT - 1] if len(packet) > _BODY_AT else 0
    if not scans or len(packet) != _BODY_AT + 2 * scans * channels + 2:
        return None
    body = b"".join([each[_BODY_AT:-2] for each in packets[k : _end_of_run(packets, crcs, k)]])
    counts = np.frombuffer(body, dtype="<i2").reshape(-1, channels)
    return SampleRun(number=packet[1], first_scan=_SAMPLES_HEAD.unpack_from(packet, _HEAD.size)[0], counts=counts)


def _end_of_run(packets: list[bytes], crcs: list[int], k: int) -> int:
    """Index of the first packet that is not whole or does not go on where the one before it ended, from a good one of samples on."""
    size = len(packets[k])
    fields_of = _samples_fields(size)
    kind, number, due, scans, _ = fields_of(packets[k])
    for stop in range(k + 1, len(packets)):
        due = (due + scans) & 0xFFFFFFFF
        packet = packets[stop]
        if len(packet) != size or fields_of(packet) != (kind, number, due, scans, crcs[stop]):
            return stop
    return len(packets)


@functools.lru_cache
def _samples_fields(size: int) -> Callable[[bytes], tuple[int, ...]]:
    """Reads type, board number, first scan, scan count and CRC of a packet of samples of so many bytes."""
    return struct.Struct(f"<BBxxIB{size - _BODY_AT - 2}xH").unpack


def _unstuffed(frames: list[bytes]) -> list[bytes]:
    """Packets of frames; empty where byte stuffing is broken."""
    try:
        return [cobs.decode(frame) for frame in frames]
    except cobs.DecodeError:
        return [_unstuffed([frame])[0] for frame in frames] if len(frames) > 1 else [b""]


def _fault_of(coded_size: int, packet: bytes, crc: int) -> FaultKind | None:
    """What is wrong with a packet."""
    if coded_size > CODED_LIMIT_BYTES:
        return FaultKind.TOO_LONG
    if len(packet) < _SHORTEST_BYTES:
        return FaultKind.TOO_SHORT if packet or coded_size <= 1 else FaultKind.STUFFING
    return None if crc == packet[-2] | packet[-1] << 8 else FaultKind.CHECKSUM


@functools.lru_cache(maxsize=64)
def _identity(number: int, body: bytes) -> Identity | tuple[FaultKind, str]:
    """What a body says, or what is wrong with it; a board says the same each second."""
    if body[0] != FORM_VERSION:
        return FaultKind.VERSION, str(body[0])
    shape_fault = FaultKind.SHAPE, "identity"
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
