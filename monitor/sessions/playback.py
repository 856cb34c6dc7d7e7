"""A recorded session as the chunks and actions that made it, in their order."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.sessions.folder import SessionFolder
from monitor.sessions.notice_rows import read_notices, read_rows
from monitor.sessions.xz_log import part_paths, read_part
from monitor.values import Action, Chunk

RAW_STEM, RAW_SUFFIX, STEPS_STEM, STEPS_SUFFIX = "port", ".wire", "steps", ".csv"
STEPS_LIMIT_BYTES = 50_000_000
"""A part covers five minutes: less than one megabyte a board. What grows beyond this was not written by a recorder."""
STEPS_HEAD = b"step,port,bytes,received_s,reopened\n"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One row of the chunk log."""

    step: int
    port: int
    size: int
    received_s: float | None
    reopened: bool


class Playback:
    """Reads a session's chunks, part by part; memory holds one part of each port at most.

    Args:
        session: The session.

    Attributes:
        damage: What could not be read, one sentence each; grows while chunks are taken.
    """

    def __init__(self, session: SessionFolder) -> None:
        self.session = session
        self.damage: list[str] = []
        self._ports = {0: "", **port_names(session)}
        self._actions = _actions_by_step(session)

    def __iter__(self) -> Iterator[Played]:
        """The chunks in the order they came."""
        for _part, steps, raws in session_parts(self.session):
            yield from self._part(steps, raws)

    def part(self, number: int) -> Iterator[Played]:
        """The chunks of one part; none where there is no such part."""
        for part, steps, raws in session_parts(self.session):
            if part == number:
                yield from self._part(steps, raws)

    def part_starts(self) -> list[tuple[int, float]]:
        """Number of each part that has a chunk log, and when its first chunk arrived, in order."""
        starts = []
        for part, steps, _raws in session_parts(self.session):
            came = (row.received_s for row in self._rows(steps) if row.received_s is not None) if steps is not None else iter(())
            first_s = next(came, None)
            if first_s is not None:
                starts.append((part, first_s))
        return starts

    def _part(self, steps: Path | None, raws: dict[int, Path]) -> Iterator[Played]:
        rows = list(self._rows(steps)) if steps is not None else []
        streams = {port: _Stream(path, self.damage) for port, path in raws.items()}
        for row in rows:
            yield self._played(row, streams)
        for port, stream in streams.items():
            # Bytes beyond the chunk log: what a kill left behind. Nobody knows to the moment when they came.
            for rest in stream.rest():
                yield Played(port=self._name(port), chunk=Chunk(data=rest))

    def _played(self, row: StepRow, streams: dict[int, "_Stream"]) -> Played:
        stream = streams.get(row.port)
        data = stream.take(row.size) if stream is not None and row.size else b""
        chunk = Chunk(data=data, received_s=row.received_s, reopened=row.reopened)
        return Played(port=self._name(row.port), chunk=chunk, actions=self._actions.get(row.step, ()))

    def _name(self, port: int) -> str:
        return self._ports.get(port, f"port-{port}")

    def _rows(self, path: Path) -> Iterator[StepRow]:
        pieces, damage = read_part(path)
        text = b""
        for piece in pieces:
            text += piece
            if len(text) > STEPS_LIMIT_BYTES:
                damage.append(f"{path.name} is larger than a chunk log can be: the rest of it is left out")
                break
        self.damage += damage
        for line in text[: text.rfind(b"\n") + 1].split(b"\n"):
            row = _parsed(line)
            if row is not None:
                yield row


class _Stream:
    """The raw bytes of one port in one part."""

    def __init__(self, path: Path, damage: list[str]) -> None:
        self._pieces, self._part_damage = read_part(path)
        self._damage = damage
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
            self._damage += self._part_damage
            self._part_damage = []
            return False
        self._held += piece
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


def _parsed(line: bytes) -> StepRow | None:
    """A row of the chunk log; None for the heading and for what damage left."""
    cells = line.split(b",")
    try:
        step, port, size = int(cells[0]), int(cells[1]), int(cells[2])
        received_s = float(cells[3]) if cells[3] else None
    except (ValueError, IndexError):
        return None
    return StepRow(step=step, port=port, size=max(0, size), received_s=received_s, reopened=cells[4:5] == [b"1"])
