"""Counts of the bench made into a board's bytes: both wire forms, and what goes wrong with boards and cables."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.values import Health, Identity, ResetCause
from monitor.values.arrays import Floats
from monitor.wire.encode import STREAM_START, health_body, identity_body, line, packet, samples_body

_LARGEST_COUNTS_BYTES = 254 - 2 - 4 - 5
Counts = NDArray[np.int16]


@dataclass(frozen=True, slots=True, kw_only=True)
class Restart:
    """A board that restarts.

    Attributes:
        at_s: When it goes silent.
        cause: Why; a brown-out lowers its supply in the second before.
    """

    at_s: float
    away_s: float
    cause: ResetCause = ResetCause.WATCHDOG


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardFaults:
    """What goes wrong with the board and its cable.

    Attributes:
        drops: Pairs of (second, scans that the board itself drops).
        restarts: In order of time.
        flips_per_byte: Probability that a byte has one bit turned.
        torn: Pairs of (second, bytes lost on the cable).
        first_scan: Scan index with which the capture begins.
    """

    drops: tuple[tuple[float, int], ...] = ()
    restarts: tuple[Restart, ...] = ()
    flips_per_byte: float = 0.0
    torn: tuple[tuple[float, int], ...] = ()
    first_scan: int = 0


@dataclass(slots=True)
class _Numbers:
    sequence: int = 0
    index_offset: int = 0
    dropped: int = 0
    started_scan: int = 0
    causes: frozenset[ResetCause] = field(default_factory=lambda: frozenset({ResetCause.POWER_ON}))


class PackedStream:
    """The packed form, block by block; holds back at most one packet's scans."""

    def __init__(self, identity: Identity, faults: BoardFaults, rng: np.random.Generator) -> None:
        self._identity = identity
        self._faults = faults
        self._rng = rng
        self._scans_per_packet = min(max(_LARGEST_COUNTS_BYTES // (2 * len(identity.channels)), 1), 15)
        self._per_second = round(1 / identity.scan_interval_s)
        self._due_identity = 0
        self._next_scan = 0
        self._held = np.zeros((0, len(identity.channels)), dtype=np.int16)
        self._numbers = _Numbers(
            sequence=int(rng.integers(0, 65536)),
            index_offset=faults.first_scan,
            started_scan=-faults.first_scan,
        )
        self._restarts = list(faults.restarts)
        self._drops = list(faults.drops)
        self._torn = list(faults.torn)
        self._silent_until = 0
        self._first = True

    def packets(self, counts: Counts) -> list[bytes]:
        """The next scans packet by packet; shape (scans, channels)."""
        self._held = np.concatenate([self._held, counts])
        out: list[bytes] = [STREAM_START] if self._first else []
        self._first = False
        step = self._scans_per_packet
        whole = len(self._held) // step
        for n in range(whole):
            out += self._one(self._held[n * step : (n + 1) * step])
        self._held = self._held[whole * step :]
        return [self._damaged(data) for data in out]

    def _one(self, counts: Counts) -> list[bytes]:
        scan = self._next_scan
        self._next_scan += len(counts)
        self._begin_restarts(scan)
        if scan < self._silent_until:
            return []
        out: list[bytes] = []
        if scan >= self._due_identity:
            self._due_identity = scan + self._per_second
            out += [self._packet(1, identity_body(self._identity)), self._packet(3, health_body(self._health(scan)))]
        kept = self._after_drops(scan, counts)
        if len(kept):
            first = scan + len(counts) - len(kept) + self._numbers.index_offset
            out.append(self._packet(2, samples_body(first, kept)))
        return [] if self._is_torn(scan) else out

    def _begin_restarts(self, scan: int) -> None:
        if not self._restarts or scan < self._scan_of(self._restarts[0].at_s):
            return
        restart = self._restarts.pop(0)
        away = max(self._scan_of(restart.away_s), 1)
        away += -away % self._scans_per_packet
        self._silent_until = scan + away
        self._numbers.index_offset = -self._silent_until
        self._numbers.started_scan = self._silent_until
        self._numbers.dropped = 0
        self._numbers.sequence = 0
        self._numbers.causes = frozenset({restart.cause})
        self._due_identity = 0

    def _after_drops(self, scan: int, counts: Counts) -> Counts:
        if self._drops and scan >= self._scan_of(self._drops[0][0]):
            at_s, scans = self._drops.pop(0)
            gone = min(scans, len(counts))
            self._numbers.dropped += gone
            if scans > gone:
                self._drops.insert(0, (at_s, scans - gone))
            return counts[gone:]
        return counts

    def _is_torn(self, scan: int) -> bool:
        """Whether these packets were lost on the cable whole (part losses are made by `_damaged`)."""
        if self._torn and scan >= self._scan_of(self._torn[0][0]):
            at_s, count = self._torn.pop(0)
            if count > 250:
                self._torn.insert(0, (at_s, count - 250))
            return True
        return False

    def _health(self, scan: int) -> Health:
        numbers = self._numbers
        volts = self._rng.normal(4.95, 0.01)
        near = [restart for restart in self._restarts if restart.cause is ResetCause.BROWN_OUT]
        if near and 0 <= self._scan_of(near[0].at_s) - scan < 1.2 * self._per_second:
            volts = self._rng.uniform(3.9, 4.4)
        return Health(
            number=self._identity.number,
            uptime_s=(scan - numbers.started_scan) * self._identity.scan_interval_s,
            supply_volts=volts,
            scans_dropped=numbers.dropped,
            reset_causes=numbers.causes,
        )

    def _packet(self, kind: int, body: bytes) -> bytes:
        data = packet(kind, self._identity.number, self._numbers.sequence, body)
        self._numbers.sequence = (self._numbers.sequence + 1) & 0xFFFF
        return data

    def _damaged(self, data: bytes) -> bytes:
        rate = self._faults.flips_per_byte
        if not rate:
            return data
        hits = int(self._rng.binomial(len(data), rate))
        if not hits:
            return data
        changed = bytearray(data)
        for at in self._rng.integers(0, len(data), hits):
            changed[at] ^= 1 << int(self._rng.integers(0, 8))
        return bytes(changed)

    def _scan_of(self, seconds: float) -> int:
        return round(seconds / self._identity.scan_interval_s)


def received_time_s(at_s: float, faults: BoardFaults, interval_s: float, scans_per_packet: int = 15) -> float:
    """Where a moment of the bench lies on the time line of the receiver: time that a board was away is not on it.

    A listener counts scans from the first one it saw; after a restart it goes on where it was.
    """
    lost_s = 0.0
    for restart in faults.restarts:
        packet_s = interval_s * scans_per_packet
        silent_from = -(-round(restart.at_s / interval_s) // scans_per_packet) * packet_s
        away = max(round(restart.away_s / interval_s), 1)
        away_s = (away + -away % scans_per_packet) * interval_s
        if at_s >= silent_from + away_s:
            lost_s += away_s
        elif at_s > silent_from:
            lost_s += at_s - silent_from
    return at_s - lost_s


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """How a sketch writes its lines.

    Attributes:
        interval_ms: Between two rounds of readings.
        checksums: Share of lines that end in a checksum.
        watts: Share of lines that carry watts.
        jitter_ms: How late a round may be.
        damaged: Share of lines in which a character is wrong.
        greeting: A comment at the start.
        start_ms: Board time of the first scan.
    """

    interval_ms: int = 100
    checksums: float = 1.0
    watts: float = 1.0
    jitter_ms: int = 0
    damaged: float = 0.0
    greeting: str = "sketch started"
    start_ms: int = 0


class LineStream:
    """The line form, block by block; holds back one cycle."""

    def __init__(self, identity: Identity, hertz: float, style: LineStyle, rng: np.random.Generator) -> None:
        self._identity = identity
        self._style = style
        self._rng = rng
        self._cycle = max(round(1 / hertz / identity.scan_interval_s), 1)
        self._outputs = len(identity.channels) // 2
        self._tail = np.zeros((0, len(identity.channels)), dtype=np.int16)
        self._tail_scan = 0
        self._due_s = self._style.interval_ms / 1000
        self._due_identity_s = 0.0
        self._first = True
        self.first_reading_s: float | None = None

    def packets(self, counts: Counts) -> list[bytes]:
        """The next scans line by line; channels in pairs of volts and amps."""
        self._tail = np.concatenate([self._tail, counts])
        out = [line(f"# {self._style.greeting}")] if self._first else []
        self._first = False
        interval_s = self._identity.scan_interval_s
        while self._due_s <= (self._tail_scan + len(self._tail)) * interval_s:
            end = int(self._due_s / interval_s) - self._tail_scan
            out += self._round(self._tail[max(end - self._cycle, 0) : end])
            self._due_s += self._style.interval_ms / 1000
        keep = min(len(self._tail), self._cycle * 8)
        self._tail_scan += len(self._tail) - keep
        self._tail = self._tail[len(self._tail) - keep :]
        return [self._damaged(data) for data in out]

    def _round(self, counts: Counts) -> list[bytes]:
        out = []
        style, now_s = self._style, self._due_s
        if now_s >= self._due_identity_s:
            self._due_identity_s = now_s + 1.0
            out.append(self._written(f"b,{self._identity.name},{self._outputs},{style.interval_ms}"))
        late = int(self._rng.integers(0, style.jitter_ms + 1))
        at_ms = (style.start_ms + round(now_s * 1000) + late) & 0xFFFFFFFF
        if self.first_reading_s is None:
            self.first_reading_s = now_s + late / 1000
        for n in range(self._outputs):
            volts, amps = self._units(counts, 2 * n), self._units(counts, 2 * n + 1)
            text = f"r,{at_ms},{n},{_rms(volts):.2f},{_rms(amps):.2f}"
            if self._rng.random() < style.watts:
                text += f",{float(np.mean(volts * amps)):.1f}"
            out.append(self._written(text))
        return out

    def _written(self, text: str) -> bytes:
        return line(text, with_checksum=bool(self._rng.random() < self._style.checksums))

    def _units(self, counts: Counts, channel: int) -> Floats:
        described = self._identity.channels[channel]
        units: Floats = (counts[:, channel].astype(np.float64) - described.zero_counts) * described.units_per_count
        return units

    def _damaged(self, data: bytes) -> bytes:
        if not self._style.damaged or self._rng.random() >= self._style.damaged:
            return data
        changed = bytearray(data)
        changed[int(self._rng.integers(0, len(data) - 1))] = int(self._rng.integers(33, 127))
        return bytes(changed)


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values * values))) if len(values) else 0.0


BoardStream = PackedStream | LineStream


def board_stream(
    identity: Identity, hertz: float, lines: LineStyle | None, faults: BoardFaults, rng: np.random.Generator
) -> BoardStream:
    """Lines as the style says; the packed form, with its faults, without one."""
    return PackedStream(identity, faults, rng) if lines is None else LineStream(identity, hertz, lines, rng)
