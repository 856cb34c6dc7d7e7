"""The packed form: COBS-coded packets with a CRC, decoded a chunk at a time.

Limits: a decoded packet is at most 254 bytes, so a coded one is at most 255 (Cheshire and Baker 1999: one byte of overhead for
up to 254). Samples that come before an identity are kept up to :data:`HELD_BYTES_LIMIT`, the oldest dropped first.
"""

import operator
import struct
from collections import deque
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from cobs import cobs
from fastcrc import crc16
from numpy.typing import NDArray

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
_BODY_AT = _HEAD.size + _SAMPLES_HEAD.size

_Found = tuple[int, Item]
"""An item, and which frame of its chunk it came with."""


@dataclass(frozen=True, slots=True)
class _Batch:
    """The n packets of a chunk, right or wrong.

    Attributes:
        packets: Each as decoded; empty where that failed.
        heads: uint8, shape (n, 9): their first bytes, as a packet of samples has them.
        sizes: Shape (n,): their lengths.
        ends: Shape (n,): byte position in the stream just after each.
    """

    packets: list[bytes]
    heads: NDArray[np.uint8]
    sizes: NDArray[np.intp]
    ends: NDArray[np.intp]


class PackedDecoder:
    """Bytes in, items out; never raises, whatever the bytes.

    All packets of a chunk are opened at once, and samples between two identities are taken at once.

    Attributes:
        packets: Good packets so far, of any type.
    """

    def __init__(self) -> None:
        self._framer = Framer(delimiter=b"\0", limit_bytes=CODED_LIMIT_BYTES)
        self._identities: dict[int, Identity] = {}
        # By board number; 0 where nothing is known of it.
        self._channels = np.zeros(256, dtype=np.intp)
        self._held: deque[tuple[int, bytes, int]] = deque()
        self._held_bytes = 0
        self.packets = 0

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
        text, position, skipped_bytes = self._framer.feed_whole(data)
        frames = text.split(b"\0")[:-1]
        if not frames:
            return []
        coded_sizes = np.fromiter(map(len, frames), dtype=np.intp, count=len(frames))
        ends = position + np.cumsum(coded_sizes + 1)
        coded_sizes[0] += skipped_bytes
        found: list[_Found] = []
        batch, good = _opened(frames, coded_sizes, ends, found)
        rows = np.flatnonzero(good)
        self.packets += len(rows)
        kinds = batch.heads[rows, 0]
        done = 0
        for at in [*np.flatnonzero(kinds == _IDENTITY).tolist(), len(rows)]:
            self._take_stretch(batch, rows[done:at], kinds[done:at], found)
            if at < len(rows):
                self._take_identity(batch, int(rows[at]), found)
            done = at + 1
        found.sort(key=operator.itemgetter(0))
        return [item for _, item in found]

    def _take_stretch(self, batch: _Batch, rows: NDArray[np.intp], kinds: NDArray[np.uint8], found: list[_Found]) -> None:
        """Packets between two identities."""
        is_samples = kinds == _SAMPLES
        if not _all(is_samples):
            found += [(k, _other(batch.packets[k], int(batch.ends[k]))) for k in rows[~is_samples].tolist()]
            rows = rows[is_samples]
        if not len(rows):
            return
        channels = self._channels[batch.heads[rows, 1]]
        known = channels > 0
        if not _all(known):
            for k in rows[~known].tolist():
                self._hold(batch.packets[k], int(batch.ends[k]), k, found)
            rows, channels = rows[known], channels[known]
        _take_samples(batch, rows, channels, found)

    def _hold(self, packet: bytes, end: int, at: int, found: list[_Found]) -> None:
        self._held.append((packet[1], packet, end))
        self._held_bytes += len(packet)
        while self._held_bytes > HELD_BYTES_LIMIT:
            _, oldest, oldest_end = self._held.popleft()
            self._held_bytes -= len(oldest)
            found.append((at, Fault(kind=FaultKind.NO_IDENTITY, offset=oldest_end, size=len(oldest))))

    def _take_identity(self, batch: _Batch, k: int, found: list[_Found]) -> None:
        number, packet = batch.packets[k][1], batch.packets[k]
        made = _identity(number, packet, int(batch.ends[k]))
        found.append((k, made))
        if not isinstance(made, Identity):
            return
        self._identities[number] = made
        self._channels[number] = len(made.channels)
        waiting = [(packet, end) for of, packet, end in self._held if of == number]
        if not waiting:
            return
        self._held = deque(held for held in self._held if held[0] != number)
        self._held_bytes = sum(len(packet) for _, packet, _ in self._held)
        late: list[_Found] = []
        packets = [packet for packet, _ in waiting]
        held = _batch(packets, np.array([len(packet) for packet in packets]), np.array([end for _, end in waiting]))
        _take_samples(held, np.arange(len(packets)), np.full(len(packets), len(made.channels)), late)
        found += [(k, item) for _, item in sorted(late, key=operator.itemgetter(0))]


def _opened(
    frames: list[bytes], coded_sizes: NDArray[np.intp], ends: NDArray[np.intp], found: list[_Found]
) -> tuple[_Batch, NDArray[np.bool_]]:
    """Packets of frames, and which are good; what is wrong with the others is noted."""
    try:
        packets = [cobs.decode(frame) for frame in frames]
    except cobs.DecodeError:
        packets = [_unstuffed(frame) for frame in frames]
    sizes = np.fromiter(map(len, packets), dtype=np.intp, count=len(packets))
    found_crc = np.array([crc16.ibm_3740(packet[:-2]) for packet in packets], dtype="<u2")
    stated_crc = np.frombuffer(b"".join([packet[-2:].ljust(2) for packet in packets]), dtype="<u2")
    good = (found_crc == stated_crc) & (sizes >= _SHORTEST_BYTES) & (coded_sizes <= CODED_LIMIT_BYTES)
    batch = _batch(packets, sizes, ends)
    if _all(good):
        return batch, good
    for k in np.flatnonzero(~good & (coded_sizes > 0)).tolist():
        kind = FaultKind.CHECKSUM
        if coded_sizes[k] > CODED_LIMIT_BYTES:
            kind = FaultKind.TOO_LONG
        elif sizes[k] < _SHORTEST_BYTES:
            kind = FaultKind.TOO_SHORT if sizes[k] or frames[k] == b"\1" else FaultKind.STUFFING
        found.append((k, Fault(kind=kind, offset=int(ends[k]), size=int(coded_sizes[k]))))
    return batch, good


def _batch(packets: list[bytes], sizes: NDArray[np.intp], ends: NDArray[np.intp]) -> _Batch:
    heads = np.frombuffer(b"".join([packet[:_BODY_AT].ljust(_BODY_AT) for packet in packets]), dtype=np.uint8)
    return _Batch(packets=packets, heads=heads.reshape(-1, _BODY_AT), sizes=sizes, ends=ends)


def _all(flags: NDArray[np.bool_]) -> bool:
    """Whether all are set; of few flags in a fifth of the time that the array's own way takes."""
    return bool(np.count_nonzero(flags) == len(flags))


def _unstuffed(frame: bytes) -> bytes:
    try:
        packet: bytes = cobs.decode(frame)
    except cobs.DecodeError:
        return b""
    return packet


def _take_samples(batch: _Batch, rows: NDArray[np.intp], channels: NDArray[np.intp], found: list[_Found]) -> None:
    """Packets of samples of known boards: those that follow each other as one run."""
    heads = batch.heads[rows]
    scans = heads[:, _BODY_AT - 1].astype(np.uint32)
    fits = (batch.sizes[rows] == _BODY_AT + 2 + 2 * scans * channels) & (scans > 0)
    if not _all(fits):
        wrong = [(k, int(batch.ends[k]), int(batch.sizes[k])) for k in rows[~fits].tolist()]
        found += [(k, Fault(kind=FaultKind.SHAPE, offset=end, size=size)) for k, end, size in wrong]
        rows, channels, heads, scans = rows[fits], channels[fits], heads[fits], scans[fits]
    if not len(rows):
        return
    numbers, firsts = heads[:, 1], heads[:, _HEAD.size : _HEAD.size + 4].copy().view("<u4")[:, 0]
    follows = (firsts[1:] == firsts[:-1] + scans[:-1]) & (rows[1:] == rows[:-1] + 1) & (numbers[1:] == numbers[:-1])
    edges = [0, *(np.flatnonzero(~follows) + 1).tolist(), len(rows)]
    for begin, end in pairwise(edges):
        first = int(rows[begin])
        body = b"".join([packet[_BODY_AT:-2] for packet in batch.packets[first : first + end - begin]])
        counts = np.frombuffer(body, dtype="<i2").reshape(-1, int(channels[begin]))
        found.append((first, SampleRun(number=int(numbers[begin]), first_scan=int(firsts[begin]), counts=counts)))


def _other(packet: bytes, end: int) -> Item:
    """A packet that is neither an identity nor samples."""
    if packet[0] == _HEALTH_TYPE:
        return _health(packet[1], packet) or Fault(kind=FaultKind.SHAPE, offset=end, size=len(packet))
    return Fault(kind=FaultKind.UNKNOWN_TYPE, offset=end, size=len(packet), detail=str(packet[0]))


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
