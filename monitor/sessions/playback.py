"""A recorded session as the chunks and actions that made it, in their order."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monitor.sessions.folder import SessionFolder
from monitor.sessions.notice_rows import read_notices, read_rows
from monitor.sessions.xz_log import part_paths, read_part
from monitor.values import Action, Chunk

STEPS_HEAD = b"step,port,bytes,received_s,reopened\n"
COLUMNS = 5
COMMA, NEWLINE = b",\n"
LAST = np.arange(COLUMNS) == COLUMNS - 1
_Row = tuple[int, int, int, float, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkLog:
    """Chunks in the order they came, n of them; every array has shape (n,).

    Attributes:
        steps: Number of the step that each belongs to.
        ports: Number of its port.
        sizes: How many bytes it has, at least 0.
        received_s: Host seconds when it arrived; NaN where it is not known.
        reopened: Whether the port was reopened before it.
    """

    steps: NDArray[np.int64]
    ports: NDArray[np.int64]
    sizes: NDArray[np.int64]
    received_s: NDArray[np.float64]
    reopened: NDArray[np.bool_]

    def __len__(self) -> int:
        """How many chunks."""
        return len(self.steps)


def parsed_log(text: bytes) -> ChunkLog:
    """The rows of a chunk log; what damage left of others is passed over, and so is a last line that has no end."""
    lines = text[: text.rfind(b"\n") + 1].removeprefix(STEPS_HEAD)
    try:
        return _at_once(lines)
    except (ValueError, OverflowError):
        return log_of(row for line in lines.split(b"\n") if (row := _parsed(line)) is not None)


def log_of(rows: Iterable[_Row]) -> ChunkLog:
    """Rows of step, port, bytes, arrival (NaN where it is not known) and whether the port was reopened."""
    columns = list(zip(*rows, strict=True)) or [()] * COLUMNS
    return ChunkLog(
        steps=np.array(columns[0], dtype=np.int64),
        ports=np.array(columns[1], dtype=np.int64),
        sizes=np.maximum(np.array(columns[2], dtype=np.int64), 0),
        received_s=np.array(columns[3], dtype=np.float64),
        reopened=np.array(columns[4], dtype=bool),
    )


def _at_once(lines: bytes) -> ChunkLog:
    """A log whose every line is whole.

    Raises:
        ValueError: One is not.
        OverflowError: A figure is beyond all sense.
    """
    characters = np.frombuffer(lines, dtype=np.uint8)
    marks = characters[(characters == COMMA) | (characters == NEWLINE)]
    if len(marks) % COLUMNS or ((marks.reshape(-1, COLUMNS) == NEWLINE) != LAST).any():
        raise ValueError("lines of other lengths")
    cells = lines.replace(b"\n", b",").split(b",")[:-1]
    received_s = np.array([float(cell) if cell else math.nan for cell in cells[3::COLUMNS]])
    if np.isinf(received_s).any():
        raise ValueError("no time")
    return ChunkLog(
        steps=np.array(list(map(int, cells[0::COLUMNS])), dtype=np.int64),
        ports=np.array(list(map(int, cells[1::COLUMNS])), dtype=np.int64),
        sizes=np.maximum(np.array(list(map(int, cells[2::COLUMNS])), dtype=np.int64), 0),
        received_s=received_s,
        reopened=np.array([cell == b"1" for cell in cells[4::COLUMNS]], dtype=bool),
    )


def _parsed(line: bytes) -> _Row | None:
    """One row; None for what damage left."""
    cells = line.split(b",")
    try:
        row = (int(cells[0]), int(cells[1]), int(cells[2]), float(cells[3]) if cells[3] else math.nan, cells[4:5] == [b"1"])
        np.array(row[:3], dtype=np.int64)
    except (ValueError, IndexError, OverflowError):
        return None
    return None if math.isinf(row[3]) else row


RAW_STEM, RAW_SUFFIX, STEPS_STEM, STEPS_SUFFIX = "port", ".wire", "steps", ".csv"
STEPS_LIMIT_BYTES = 50_000_000
"""A part covers five minutes: less than one megabyte a board. What grows beyond this was not written by a recorder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One chunk of a session.

    Attributes:
        port: Its device or URL, as it was when it was recorded.
        chunk: The bytes, as they came then and when they came.
        actions: What operators had done since the chunk before.
    """

    port: str
    chunk: Chunk
    actions: tuple[Action, ...] = ()

    @property
    def chunks(self) -> tuple[tuple[str, Chunk], ...]:
        """The port and the chunk: what the pipeline takes together."""
        return ((self.port, self.chunk),)


class Playback:
    """Reads a session's chunks, part by part; memory holds one part of each port at most.

    Attributes:
        damage: What could not be read, one sentence each; grows while chunks are taken.
        raw_bytes: How many bytes of all ports were read so far.
    """

    def __init__(self, session: SessionFolder) -> None:
        self.session = session
        self.damage: list[str] = []
        self.raw_bytes = 0
        self._ports = {0: "", **port_names(session)}
        self._actions = _actions_by_step(session)

    def __iter__(self) -> Iterator[Played]:
        """The chunks in the order they came."""
        for part in self.parts():
            yield from part.played()

    def parts(self) -> Iterator["SessionPart"]:
        """The parts in their order."""
        for _number, steps, raws in session_parts(self.session):
            yield self._opened(steps, raws)

    def part(self, number: int) -> "SessionPart":
        """One part; an empty one where there is none of this number."""
        found = next(((steps, raws) for part, steps, raws in session_parts(self.session) if part == number), (None, {}))
        return self._opened(*found)

    def part_starts(self) -> list[tuple[int, float]]:
        """Number of each part that has a chunk log, and when its first chunk arrived, in order."""
        starts = []
        for part, steps, _raws in session_parts(self.session):
            came_s = self._log(steps).received_s
            known_s = came_s[~np.isnan(came_s)]
            if len(known_s):
                starts.append((part, float(known_s[0])))
        return starts

    def _opened(self, steps: Path | None, raws: dict[int, Path]) -> "SessionPart":
        streams = {port: _Stream(path, self) for port, path in raws.items()}
        return SessionPart(self._log(steps), streams, self._ports, self._actions)

    def _log(self, path: Path | None) -> ChunkLog:
        if path is None:
            return parsed_log(b"")
        pieces, damage = read_part(path)
        text = bytearray()
        for piece in pieces:
            text += piece
            if len(text) > STEPS_LIMIT_BYTES:
                damage.append(f"{path.name} is larger than a chunk log can be: the rest of it is left out")
                break
        self.damage += damage
        return parsed_log(bytes(text))


class SessionPart:
    """One part of a session, its bytes taken once, from front to back."""

    def __init__(
        self, log: ChunkLog, streams: dict[int, "_Stream"], names: dict[int, str], actions: dict[int, tuple[Action, ...]]
    ) -> None:
        self.log = log
        self._streams = streams
        self._names = names
        self._actions = actions

    def played(self) -> Iterator[Played]:
        """The chunks as they came, then what lies beyond the log, port by port."""
        log = self.log
        columns = (log.steps, log.ports, log.sizes, log.received_s, log.reopened)
        for step, port, size, received_s, reopened in zip(*(column.tolist() for column in columns), strict=True):
            at_s = received_s if received_s == received_s else None  # noqa: PLR0124 - NaN is what does not equal itself
            chunk = Chunk(data=self.take(port, size), received_s=at_s, reopened=reopened)
            yield Played(port=self.name(port), chunk=chunk, actions=self._actions.get(step, ()))
        for port, stream in self._streams.items():
            for data in stream.rest():
                yield Played(port=self.name(port), chunk=Chunk(data=data))

    def actions(self) -> dict[int, tuple[Action, ...]]:
        """What operators had done before a chunk of the log came, by its place there."""
        return {place: self._actions[step] for place, step in enumerate(self.log.steps.tolist()) if step in self._actions}

    def name(self, port: int) -> str:
        """Device or URL of a port."""
        return self._names.get(port, f"port-{port}")

    def take(self, port: int, size: int) -> bytes:
        """The next bytes of a port; fewer where its file is cut off."""
        stream = self._streams.get(port)
        return stream.take(size) if stream is not None and size else b""

    def rest(self) -> Iterator[tuple[tuple[str, Chunk], ...]]:
        """Bytes beyond the chunk log, a piece of every port at a time: what a kill left behind. No one knows to the moment when they came."""
        rests = {self.name(port): stream.rest() for port, stream in self._streams.items()}
        while found := {name: data for name, rest in rests.items() if (data := next(rest, None)) is not None}:
            yield tuple((name, Chunk(data=data)) for name, data in found.items())


class _Stream:
    """The raw bytes of one port in one part."""

    def __init__(self, path: Path, playback: Playback) -> None:
        self._pieces, self._part_damage = read_part(path)
        self._playback = playback
        self._held = bytearray()

    def take(self, size: int) -> bytes:
        """The next bytes; fewer where the file is cut off."""
        while len(self._held) < size and self._pull():
            pass
        data = bytes(self._held[:size])
        del self._held[:size]
        return data

    def rest(self) -> Iterator[bytes]:
        """All that is left, piece by piece."""
        while self._held or self._pull():
            yield bytes(self._held)
            self._held.clear()

    def _pull(self) -> bool:
        piece = next(self._pieces, None)
        if piece is None:
            self._playback.damage += self._part_damage
            self._part_damage = []
            return False
        self._held += piece
        self._playback.raw_bytes += len(piece)
        return True


def session_parts(session: SessionFolder) -> Iterator[tuple[int, Path | None, dict[int, Path]]]:
    """The parts of a session: number, file of its chunk log, files of its raw bytes by port number."""
    steps = part_paths(session.steps, STEPS_STEM, STEPS_SUFFIX)
    raws: dict[int, dict[int, Path]] = {}
    for port in port_numbers(session):
        for part, path in part_paths(session.raw, f"{RAW_STEM}-{port}", RAW_SUFFIX).items():
            raws.setdefault(part, {})[port] = path
    for part in sorted(steps.keys() | raws.keys()):
        yield part, steps.get(part), raws.get(part, {})


def port_numbers(session: SessionFolder) -> list[int]:
    """Numbers of the ports whose bytes are there."""
    names = (path.name.split("-")[1] for path in session.raw.glob(f"{RAW_STEM}-*-*{RAW_SUFFIX}*"))
    return sorted({int(name) for name in names if name.isdigit()})


def port_names(session: SessionFolder) -> dict[int, str]:
    """Devices or URLs by port number."""
    rows, _bad = read_rows(session.notices("ports"))
    return {row["port"]: row["name"] for row in rows if isinstance(row.get("port"), int) and isinstance(row.get("name"), str)}


def _actions_by_step(session: SessionFolder) -> dict[int, tuple[Action, ...]]:
    rows, _bad = read_rows(session.notices("actions"))
    found: dict[int, tuple[Action, ...]] = {}
    for row, action in zip(rows, read_notices(session, "actions", Action), strict=False):
        if isinstance(row.get("step"), int):
            found[row["step"]] = (*found.get(row["step"], ()), action)
    return found
