"""Writes one session folder; has no thread and no queue, but stands a thread that wakes after another has taken over."""

import errno
import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from monitor.sessions.buckets import BoardBuckets
from monitor.sessions.description import write_closing, write_manifest
from monitor.sessions.durable import AppendedFile, SessionLock, sync_folder, write_whole
from monitor.sessions.folder import (
    LAYOUT,
    LOCK,
    PART_S,
    Closing,
    Manifest,
    NoticeKind,
    SessionFolder,
)
from monitor.sessions.notice_rows import Row, row_line
from monitor.sessions.playback import RAW_STEM, RAW_SUFFIX, STEPS_HEAD, STEPS_STEM, STEPS_SUFFIX
from monitor.sessions.readings_log import ReadingsLog
from monitor.sessions.recording import Kept
from monitor.sessions.snapshot_log import SnapshotLog
from monitor.sessions.table_log import TableLog
from monitor.sessions.xz_log import Compactor, XzLog

READINGS_SYNC_S = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Handover:
    """How far a session is: what its next writer goes on from.

    Attributes:
        lock: Held while it is recorded.
        compactor: Seals its parts.
        part: Number of the first part to write.
        step: Number of the next step.
        now_s: The stream's time.
        ports: Number of each port that has one.
        raw_bytes: How many bytes of each port there are.
    """

    lock: SessionLock
    compactor: Compactor
    part: int = 1
    step: int = 0
    now_s: float
    ports: Mapping[str, int] = field(default_factory=lambda: {"": 0})
    raw_bytes: Mapping[int, int] = field(default_factory=dict)


class SessionWriter:
    """Writes one session; see :meth:`begin`.

    Args:
        session: Its folder.
        manifest: What it says of itself.
        standing: How far it is.

    Raises:
        OSError: The folder cannot be written.
    """

    def __init__(self, session: SessionFolder, manifest: Manifest, standing: _Handover) -> None:
        self.session = session
        self._manifest = manifest
        self._lock, self._compactor = standing.lock, standing.compactor
        self._part, self._step, self._ports = standing.part, standing.step, dict(standing.ports)
        self.now_s = self._part_from_s = self._readings_taken_s = standing.now_s
        self._is_left, self._leaving = False, threading.Lock()
        self._last_whole: list[Kept] | None = None
        self._notices: dict[NoticeKind, AppendedFile] = {}
        self._board_lines: dict[str, Row] = {}
        self._buckets: dict[str, BoardBuckets] = {}
        self._raw: dict[int, XzLog] = {}
        with ExitStack() as opened:  # where one cannot be written, none stays open
            for number, size_bytes in standing.raw_bytes.items():
                self._raw[number] = log = self._raw_log(number, size_bytes)
                opened.callback(log.file.close)
            self._steps = XzLog(session.steps, STEPS_STEM, STEPS_SUFFIX, self._part, self._compactor)
            opened.callback(self._steps.file.close)
            self._steps.write(STEPS_HEAD)
            self._readings = ReadingsLog(session.readings, self._part, manifest.began_at)
            opened.callback(self._readings.file.close)
            self._snapshots = SnapshotLog(session.snapshots, self._part, manifest.began_at)
            opened.pop_all()

    @classmethod
    def begin(cls, path: Path, layout_text: str, manifest: Manifest, *, readable: bool = False) -> Self:
        """The first writer of a new session.

        Args:
            path: The folder to make; must not exist.
            layout_text: The layout file as it stands.
            manifest: What the session says of itself.
            readable: Whether other users of this computer may read it.

        Raises:
            OSError: The folder cannot be written.
        """
        session = SessionFolder(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.mkdir(mode=0o777 if readable else 0o700)
        for folder in (session.raw, session.steps, session.readings, session.snapshots):
            folder.mkdir()
        lock = SessionLock(path / LOCK)
        try:
            write_whole(path / LAYOUT, layout_text.encode())
            write_manifest(session, manifest)
            sync_folder(path.parent)
            return cls(session, manifest, _Handover(lock=lock, compactor=Compactor(), now_s=manifest.first_s))
        except OSError:
            lock.release()
            raise

    def write(self, kept: list[Kept]) -> None:
        """Append; the raw bytes first, then what refers to them.

        Raises:
            OSError: It could not be written, or this writer was left meanwhile; this session is to be abandoned.
        """
        lines = [self._write_raw(each) for each in kept]
        self._steps.write(b"".join(lines))
        for each in kept:
            for block in each.readings:
                self._buckets.setdefault(block.board, BoardBuckets()).add(block)
            self._snapshots.write(each.snapshots)
            self.now_s = max(self.now_s, each.now_s)
        self._write_notices(kept)
        if self.now_s - self._readings_taken_s >= READINGS_SYNC_S:
            self._write_readings(everything=False)
        with self._leaving:
            self._check_left()
            for file in self._files():
                file.mark_whole()
            self._last_whole = kept

    def leave(self, in_hand: list[Kept]) -> bool:
        """From now on nothing that a thread writes here counts, should it ever wake: a successor writes it.

        Args:
            in_hand: What that thread was to write last.

        Returns:
            Whether that is to be written again: it was not whole yet.
        """
        with self._leaving:
            self._is_left = True
            return self._last_whole is not in_hand

    def _check_left(self) -> None:
        if self._is_left:
            raise OSError(errno.ESTALE, "another thread has taken over")

    def successor(self) -> "SessionWriter":
        """Who goes on with this session where a write failed, or does not end: in new parts.

        The old parts end with the last batch that was whole before :meth:`leave`: what is beyond it comes again, to the successor.
        Readings that were not written yet are left out; they can be made again from the raw bytes.

        Raises:
            OSError: The folder is gone, or nothing can be written to it.
        """
        self._part += 1
        standing = _Handover(
            lock=self._lock,
            compactor=self._compactor,
            part=self._part,
            step=self._step,
            now_s=self.now_s,
            ports=self._ports,
            raw_bytes={number: log.whole_bytes for number, log in self._raw.items()},
        )
        try:
            new = SessionWriter(self.session, self._manifest, standing)
        except OSError:
            for path in self.session.path.glob(f"*/*-{self._part:04d}.*"):
                path.unlink()
            raise
        self.let_go()
        for log in self._logs():
            self._compactor.add(log.seal_of_left())
        return new

    def sync(self, between: Callable[[], None] = lambda: None) -> None:
        """Wait until everything is on the disk.

        Args:
            between: Is called while one file is there and the next is not: a slow disk must not hold up what only the system takes.
        """
        for file in tuple(self._files()):
            file.sync()
            between()

    def is_in_place(self) -> bool:
        """False where the folder was removed or moved away meanwhile."""
        return self._steps.file.is_in_place()

    def part_is_full(self) -> bool:
        """True when it is time to seal."""
        return self.now_s - self._part_from_s >= PART_S

    def next_part(self) -> None:
        """Seal the open part of every log and begin another.

        Raises:
            OSError: There is no room for it, or this writer was left meanwhile.
        """
        with self._leaving:
            self._check_left()
            self._part += 1
            part = self._part  # a successor counts on
        self._part_from_s = self.now_s
        for log in self._logs():
            self._check_left()
            log.next_part(part)
            if log is self._steps:
                self._steps.write(STEPS_HEAD)

    def close(self, reason: str, losses: tuple[str, ...] = ()) -> None:
        """Seal everything and write the closing row.

        Raises:
            OSError: There is no room for it; the next start puts it in order.
        """
        self._write_readings(everything=True)
        self.sync()
        raw_bytes = {str(number): log.whole_bytes for number, log in self._raw.items()}
        for log in (*self._raw.values(), self._steps):
            log.seal()
        self._readings.seal()
        self._snapshots.seal()
        self._compactor.finish()
        for file in self._notices.values():
            file.close()
        closing = Closing(reason=reason, ended_s=self.now_s, steps=self._step, raw_bytes=raw_bytes, losses=losses)
        write_closing(self.session, closing)
        self._lock.release()

    def abandon(self) -> None:
        """Let go of the session; never raises."""
        self.let_go()
        self._compactor.abandon()
        self._lock.release()

    def let_go(self) -> None:
        """Let go of every file, not of the session; never raises."""
        for file in self._files():
            file.close()

    def _logs(self) -> list[XzLog | TableLog]:
        return [*self._raw.values(), self._steps, self._readings, self._snapshots]

    def _files(self) -> list[AppendedFile]:
        return [*(log.file for log in self._logs()), *self._notices.values()]

    def _write_raw(self, kept: Kept) -> bytes:
        number = self._port_number(kept.port)
        if kept.data:
            if number not in self._raw:
                self._raw[number] = self._raw_log(number)
            self._raw[number].write(kept.data)
        if any(kind == "actions" for kind, _ in kept.notices):
            kept.notices = [(kind, {**row, "step": self._step} if kind == "actions" else row) for kind, row in kept.notices]
        received = "" if kept.received_s is None else repr(kept.received_s)
        line = f"{self._step},{number},{len(kept.data)},{received},{'1' if kept.reopened else ''}\n"
        self._step += 1
        return line.encode()

    def _raw_log(self, number: int, earlier_bytes: int = 0) -> XzLog:
        self._check_left()
        return XzLog(self.session.raw, f"{RAW_STEM}-{number}", RAW_SUFFIX, self._part, self._compactor, earlier_bytes)

    def _port_number(self, port: str) -> int:
        if port not in self._ports:
            self._ports[port] = len(self._ports)
            self._notice_file("ports").write(row_line({"port": self._ports[port], "name": port}))
        return self._ports[port]

    def _notice_file(self, kind: NoticeKind) -> AppendedFile:
        if kind not in self._notices:
            self._check_left()
            self._notices[kind] = AppendedFile(self.session.notices(kind))
        return self._notices[kind]

    def _is_news(self, row: Row) -> bool:
        """Boards say who they are every second; only a change is kept."""
        said = {name: value for name, value in row.items() if name != "at_s"}
        key = f"{row.get('board')}/{row['identity']['number']}"
        if self._board_lines.get(key) == said:
            return False
        self._board_lines[key] = said
        return True

    def _write_notices(self, kept: list[Kept]) -> None:
        rows: dict[NoticeKind, list[bytes]] = {}
        for each in kept:
            for kind, row in each.notices:
                if kind != "boards" or self._is_news(row):
                    rows.setdefault(kind, []).append(row_line(row))
            if each.lost_bytes:
                rows.setdefault("losses", []).append(row_line(_loss(each)))
        for kind, these in rows.items():
            self._notice_file(kind).write(b"".join(these))

    def _write_readings(self, *, everything: bool) -> None:
        self._readings_taken_s = self.now_s
        for buckets in self._buckets.values():
            table = buckets.take(everything=everything)
            if table is not None:
                self._readings.write(table)


def _loss(kept: Kept) -> Row:
    return {"at_s": kept.now_s, "port": kept.port, "bytes": kept.lost_bytes, "why": "the disk did not keep up"}
