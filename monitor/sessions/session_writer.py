"""Writes one session folder; knows no thread and no queue."""

import copy
import hashlib
import platform
from collections.abc import Callable, Mapping
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Self

import msgspec

from monitor.sessions.buckets import BoardBuckets
from monitor.sessions.durable import AppendedFile, SessionLock, sync_folder, write_whole
from monitor.sessions.folder import (
    CLOSING,
    FORMAT,
    LAYOUT,
    LOCK,
    MANIFEST,
    PART_S,
    Closing,
    FileSeal,
    Manifest,
    NoticeKind,
    SessionFolder,
)
from monitor.sessions.notice_rows import Row, row_line
from monitor.sessions.playback import RAW_STEM, RAW_SUFFIX, STEPS_HEAD, STEPS_STEM, STEPS_SUFFIX
from monitor.sessions.readings_log import ReadingsLog
from monitor.sessions.recording import Kept
from monitor.sessions.snapshot_log import SnapshotLog
from monitor.sessions.xz_log import Compactor, XzLog

READINGS_SYNC_S = 0.5

ABOUT = {
    "raw/port-N-PART.wire.xz": "bytes of port N exactly as they came; xz -dc of all parts in order is the capture",
    "steps/steps-PART.csv.xz": "one row a chunk: its port, how many bytes, seconds of the stream when they arrived",
    "readings/": "Apache Parquet: one row a district and fifth of a second; SI units, named in the columns",
    "snapshots/": "Apache Parquet: one row a channel of the samples around one event: volts or amps from start_s on, every interval_s; "
    "a moment that several events of a board share is kept once",
    "*.jsonl": "one JSON object a line; at_s: seconds of the stream when it was said; an id comes again when something changed",
    "time": "seconds of the stream count from began_at",
}


class SessionWriter:
    """Writes one session.

    Args:
        path: The folder to make; must not exist.
        layout_text: The layout file as it stands.
        manifest: What the session says of itself.
        readable: Whether other users of this computer may read it.

    Raises:
        OSError: The folder cannot be written.
    """

    def __init__(self, path: Path, layout_text: str, manifest: Manifest, *, readable: bool = False) -> None:
        self.session = SessionFolder(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.mkdir(mode=0o777 if readable else 0o700)
        for folder in (self.session.raw, self.session.steps, self.session.readings, self.session.snapshots):
            folder.mkdir()
        self._lock = SessionLock(path / LOCK)
        self._is_left = False
        try:
            self._open(path, layout_text, manifest)
        except OSError:
            self._lock.release()
            raise

    def _open(self, path: Path, layout_text: str, manifest: Manifest) -> None:
        write_whole(path / LAYOUT, layout_text.encode())
        write_manifest(self.session, manifest)
        sync_folder(path.parent)
        self._part = 1
        self._part_from_s = manifest.first_s
        self._compactor = Compactor()
        self._steps = XzLog(self.session.steps, STEPS_STEM, STEPS_SUFFIX, self._part, self._compactor)
        self._steps.write(STEPS_HEAD)
        self._readings = ReadingsLog(self.session.readings, self._part, manifest.began_at)
        self._snapshots = SnapshotLog(self.session.snapshots, self._part, manifest.began_at)
        self._raw: dict[int, XzLog] = {}
        self._ports: dict[str, int] = {"": 0}
        self._forget()
        self._step = 0
        self.now_s = manifest.first_s
        self._readings_taken_s = manifest.first_s

    def write(self, kept: list[Kept]) -> None:
        """Append; the raw bytes first, then what refers to them.

        Raises:
            OSError: It could not be written; this session is to be abandoned.
        """
        lines = [self._write_raw(each) for each in kept]
        self._steps.write(b"".join(lines))
        rows: dict[NoticeKind, list[bytes]] = {}
        for each in kept:
            for kind, row in each.notices:
                if kind != "boards" or self._is_news(row):
                    rows.setdefault(kind, []).append(row_line(row))
            if each.lost_bytes:
                rows.setdefault("losses", []).append(row_line(_loss(each)))
            for block in each.readings:
                self._buckets.setdefault(block.board, BoardBuckets()).add(block)
            self._snapshots.write(each.snapshots)
            self.now_s = max(self.now_s, each.now_s)
        for kind, these in rows.items():
            self._notice_file(kind).write(b"".join(these))
        if self.now_s - self._readings_taken_s >= READINGS_SYNC_S:
            self._write_readings(everything=False)
        if not self._is_left:
            for file in self._files():
                file.mark_whole()

    def leave(self) -> None:
        """From now on nothing that a thread writes here counts, should it ever wake: a successor writes it."""
        self._is_left = True

    def _forget(self) -> None:
        """What begins empty in each writer of a session."""
        self._notices: dict[NoticeKind, AppendedFile] = {}
        self._boards_said: dict[str, Row] = {}
        self._buckets: dict[str, BoardBuckets] = {}

    def successor(self) -> Self:
        """Who goes on with this session where a write failed, or does not end: in new parts.

        The old parts end with the last batch that was whole before :meth:`leave`: what is beyond it comes again, to the successor.
        Readings that were not written yet are left out; they can be made again from the raw bytes.

        Raises:
            OSError: The folder is gone, or nothing can be written to it.
        """
        self._part += 1
        new = copy.copy(self)
        try:
            new._begin_after(self)
        except OSError:
            for path in self.session.path.glob(f"*/*-{self._part:04d}.*"):
                path.unlink()
            raise
        self.let_go()
        for log in (*self._raw.values(), self._steps):
            log.leave()
        for table in (self._readings, self._snapshots):
            self._compactor.add(table.seal_left)
        return new

    def _begin_after(self, old: "SessionWriter") -> None:
        self._is_left = False
        self._ports = dict(old._ports)
        self._forget()
        self._part_from_s = self.now_s
        self._raw = {number: log.successor(self._part) for number, log in old._raw.items()}
        self._steps = old._steps.successor(self._part)
        self._steps.write(STEPS_HEAD)
        self._readings = old._readings.successor(self._part)
        self._snapshots = old._snapshots.successor(self._part)

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
            OSError: There is no room for it.
        """
        self._part += 1
        self._part_from_s = self.now_s
        for log in self._raw.values():
            log.next_part(self._part)
        self._steps.next_part(self._part)
        self._steps.write(STEPS_HEAD)
        self._readings.next_part(self._part)
        self._snapshots.next_part(self._part)

    def close(self, reason: str, losses: tuple[str, ...] = ()) -> None:
        """Seal everything and write the closing row.

        Raises:
            OSError: There is no room for it; the next start puts it in order.
        """
        self._write_readings(everything=True)
        self.sync()
        raw_bytes = {str(number): log.bytes for number, log in self._raw.items()}
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

    def _files(self) -> list[AppendedFile]:
        raw = (log.file for log in self._raw.values())
        return [*raw, self._steps.file, self._readings.file, self._snapshots.file, *self._notices.values()]

    def _write_raw(self, kept: Kept) -> bytes:
        number = self._port_number(kept.port)
        if kept.data:
            if number not in self._raw:
                self._raw[number] = XzLog(self.session.raw, f"{RAW_STEM}-{number}", RAW_SUFFIX, self._part, self._compactor)
            self._raw[number].write(kept.data)
        if any(kind == "actions" for kind, _ in kept.notices):
            kept.notices = [(kind, {**row, "step": self._step} if kind == "actions" else row) for kind, row in kept.notices]
        received = "" if kept.received_s is None else repr(kept.received_s)
        line = f"{self._step},{number},{len(kept.data)},{received},{'1' if kept.reopened else ''}\n"
        self._step += 1
        return line.encode()

    def _port_number(self, port: str) -> int:
        if port not in self._ports:
            self._ports[port] = len(self._ports)
            self._notice_file("ports").write(row_line({"port": self._ports[port], "name": port}))
        return self._ports[port]

    def _notice_file(self, kind: NoticeKind) -> AppendedFile:
        if kind not in self._notices:
            self._notices[kind] = AppendedFile(self.session.notices(kind))
        return self._notices[kind]

    def _is_news(self, row: Row) -> bool:
        """Boards say who they are every second; only a change is kept."""
        said = {name: value for name, value in row.items() if name != "at_s"}
        key = f"{row.get('board')}/{row['identity']['number']}"
        if self._boards_said.get(key) == said:
            return False
        self._boards_said[key] = said
        return True

    def _write_readings(self, *, everything: bool) -> None:
        self._readings_taken_s = self.now_s
        for buckets in self._buckets.values():
            table = buckets.take(everything=everything)
            if table is not None:
                self._readings.write(table)


def new_manifest(title: str, began_at: datetime, *, ports: Mapping[str, str], invented: bool) -> Manifest:
    """The manifest of a session from second 0 of its stream."""
    return Manifest(
        format=FORMAT,
        title=title,
        began_at=began_at,
        invented=invented,
        ports=dict(ports),
        program=_program(),
        python=platform.python_version(),
        about=ABOUT,
    )


def write_manifest(session: SessionFolder, manifest: Manifest) -> None:
    """Write what a session says of itself."""
    write_whole(session.path / MANIFEST, msgspec.json.format(msgspec.json.encode(manifest), indent=2) + b"\n")


def write_closing(session: SessionFolder, closing: Closing, files: dict[str, FileSeal] | None = None) -> None:
    """Write the closing row.

    Args:
        session: The session.
        closing: What it says, but for the files.
        files: Size and checksum by path; None takes those of every other file as it is now.
    """
    if files is None:
        files = {
            path.relative_to(session.path).as_posix(): seal_of(path)
            for path in sorted(session.path.rglob("*"))
            if path.is_file() and path.name not in (CLOSING, LOCK)
        }
    closing = msgspec.structs.replace(closing, files=files)
    write_whole(session.path / CLOSING, msgspec.json.format(msgspec.json.encode(closing), indent=2) + b"\n")


def seal_of(path: Path) -> FileSeal:
    """Size and checksum of a file."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return FileSeal(bytes=path.stat().st_size, sha256=digest)


def _program() -> str:
    try:
        return metadata.version("pilotlamp")
    except metadata.PackageNotFoundError:
        return "from its source tree"


def _loss(kept: Kept) -> Row:
    return {"at_s": kept.now_s, "port": kept.port, "bytes": kept.lost_bytes, "why": "the disk did not keep up"}
