"""The session folder: what lies where in it, and what it says of itself.

::

    2026-11-25_10-17-32_fernhollow-show-layout/
      manifest.json                    written first: format, versions, when stream second 0 was
      layout.toml                      the layout file as it stood
      raw/port-1-0001.wire.xz          bytes of one port exactly as they came; the part being written is plain .wire
      steps/steps-0001.csv.xz          one row a chunk: which port, how many bytes, when they arrived
      readings/readings-0001.parquet   one row a district and fifth of a second
      snapshots/snapshots-0001.parquet one row a channel of the samples around one event
      events.jsonl  warnings.jsonl  actions.jsonl  findings.jsonl  ...   one JSON object a line
      closing.json                     written last: why it ended, counts, size and SHA-256 of every file
"""

import contextlib
import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Literal, get_args

import msgspec
from msgspec import Meta

from monitor.errors import SessionDamagedError
from monitor.layout import Layout, load_layout
from monitor.sessions.durable import is_held

FORMAT = 1
PART_S = 300.0
"""Files are sealed (compressed, checksummed, never touched again) in parts of this many seconds."""

NoticeKind = Literal[
    "events",
    "warnings",
    "actions",
    "findings",
    "disturbances",
    "patterns",
    "slow_figures",
    "phasings",
    "boards",
    "ports",
    "losses",
]
NOTICE_KINDS: tuple[NoticeKind, ...] = get_args(NoticeKind)
SMALL_FILE_BYTES = 20_000_000
"""The closing row of a hundred thousand files takes less."""
MANIFEST, CLOSING, LAYOUT, LOCK = "manifest.json", "closing.json", "layout.toml", "recording.lock"


Seconds = Annotated[float, Meta(ge=0, le=1e9)]
"""Of a stream: thirty years are more than any."""
Count = Annotated[int, Meta(ge=0, le=10**15)]
_NAME_TIME = "%Y-%m-%d_%H-%M-%S"
_YEARS = range(2000, 2200)


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What a session says of itself when it begins.

    Attributes:
        format: Number of this folder form.
        title: Title of the layout.
        began_at: Wall clock at second 0 of the stream.
        first_s: Seconds of the stream when this session began: more than 0 where it goes on after trouble with the disk.
        continues: Name of the session that it goes on from; None for a session of its own.
        invented: True for demonstrations: nothing of it was measured.
        ports: Boards that were read at another port than the layout file says, by name.
        program: Version of this program.
        python: Version of the interpreter.
        about: What the files are, for reading the folder without this program.
    """

    format: Annotated[int, Meta(ge=1)]
    title: Annotated[str, Meta(max_length=1000)]
    began_at: Annotated[datetime, Meta(tz=True)]
    first_s: Seconds = 0.0
    continues: str | None = None
    invented: bool = False
    ports: dict[str, str] = {}
    program: str = ""
    python: str = ""
    about: dict[str, str] = {}

    def __post_init__(self) -> None:
        """Refuse a date that no clock of ours shows.

        Raises:
            ValueError: It is such a date.
        """
        if self.began_at.year not in _YEARS:
            raise ValueError(f"it began in the year {self.began_at.year}")


class FileSeal(msgspec.Struct, frozen=True, kw_only=True):
    """Size and checksum of one file."""

    bytes: Count
    sha256: str


class Closing(msgspec.Struct, frozen=True, kw_only=True):
    """The closing row.

    Attributes:
        reason: Why the session ended.
        ended_s: Seconds of the stream reached.
        raw_bytes: Bytes as they came, by port number.
        recovered: True where the recording was cut off and put in order later.
        losses: What could not be kept or was found damaged, in words.
        files: By path within the folder.
    """

    reason: str
    ended_s: Seconds
    steps: Count
    raw_bytes: dict[str, Count] = {}
    recovered: bool = False
    losses: tuple[str, ...] = ()
    files: dict[str, FileSeal] = {}


class SessionFolder:
    """One recorded session on disk.

    Attributes:
        path: Its folder.
        raw: Folder of the raw bytes.
        steps: Folder of the chunk log.
        readings: Folder of the readings: ``pandas.read_parquet`` opens it.
        snapshots: Folder of the samples around events; older sessions have none.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.raw, self.steps, self.readings, self.snapshots = (path / name for name in ("raw", "steps", "readings", "snapshots"))

    @property
    def name(self) -> str:
        """The folder's name, as text that any page and file can hold: bytes that are not UTF-8 become U+FFFD."""
        return os.fsencode(self.path.resolve().name).decode("utf-8", "replace")

    def notices(self, kind: NoticeKind) -> Path:
        """File of one kind of JSON lines; may not exist."""
        return self.path / f"{kind}.jsonl"

    def manifest(self) -> Manifest:
        """What the session says of itself.

        Raises:
            SessionDamagedError: It is not there, or not of this form.
        """
        path = self.path / MANIFEST
        try:
            manifest = msgspec.json.decode(_small_file(path), type=Manifest)
        except FileNotFoundError as error:
            raise SessionDamagedError(
                f"{self.path} is not a recorded session: it has no {MANIFEST}; 'pilotlamp sessions' lists those there are"
            ) from error
        except (OSError, ValueError, RecursionError) as error:
            raise SessionDamagedError(
                f"{path} cannot be understood ({error}): 'pilotlamp sessions recover' makes it again from the raw bytes"
            ) from error
        if manifest.format > FORMAT:
            raise SessionDamagedError(
                f"{path}: form {manifest.format} is newer than this program knows ({FORMAT}): update pilotlamp"
            )
        return manifest

    def closing(self) -> Closing | None:
        """The closing row; None while the session is being recorded or was cut off."""
        try:
            return msgspec.json.decode(_small_file(self.path / CLOSING), type=Closing)
        except (OSError, ValueError, RecursionError):
            return None

    def layout(self) -> Layout:
        """The layout as it stood, its boards at the ports where they were read.

        Raises:
            LayoutError: It cannot be used.
            SessionDamagedError: The manifest cannot be understood.
        """
        return self.at_its_ports(load_layout(self.path / LAYOUT))

    def at_its_ports(self, layout: Layout) -> Layout:
        """A layout with its boards moved to the ports where this session read them."""
        ports = self.manifest().ports
        boards = tuple(msgspec.structs.replace(board, port=ports.get(board.name, board.port)) for board in layout.board)
        return msgspec.structs.replace(layout, board=boards)

    def length_s(self) -> float | None:
        """How long it is; None where that is not known without reading it whole."""
        closing = self.closing()
        return None if closing is None else max(0.0, closing.ended_s - self.manifest().first_s)

    def missing(self) -> tuple[str, ...]:
        """What its closing row names and is not there any more, one sentence each."""
        closing = self.closing()
        names = () if closing is None else closing.files
        return tuple(f"{name} is missing" for name in names if not os.path.isfile(self.path / name))  # noqa: PTH113 - raises at no odd name

    def wall_time(self, at_s: float) -> datetime:
        """Wall clock (UTC) of a moment of the stream."""
        return self.manifest().began_at + timedelta(seconds=at_s)


def find_sessions(recordings: Path) -> Iterator[SessionFolder]:
    """The sessions in a folder, oldest first by when they began, as their own manifests say; damaged ones are left out."""
    found = []
    for session in session_folders(recordings):
        with contextlib.suppress(SessionDamagedError):
            manifest = session.manifest()
            found.append((manifest.began_at, manifest.first_s, session.path.name, session))
    found.sort(key=lambda row: row[:3])
    yield from (row[3] for row in found)


def damaged_sessions(recordings: Path) -> Iterator[tuple[SessionFolder, SessionDamagedError]]:
    """The sessions whose manifest cannot be understood, and why, by name."""
    for session in session_folders(recordings):
        try:
            session.manifest()
        except SessionDamagedError as error:
            yield session, error


def session_folders(recordings: Path) -> Iterator[SessionFolder]:
    """What looks like a session, damaged or not, by name."""
    for path in sorted(recordings.iterdir()) if recordings.is_dir() else ():
        if (path / MANIFEST).is_file() or (path / CLOSING).is_file() or (path / "raw").is_dir():
            yield SessionFolder(path)


def _small_file(path: Path) -> bytes:
    """A file that says something of a session.

    Raises:
        OSError: It cannot be read.
        ValueError: It is far too large.
    """
    with path.open("rb") as file:
        data = file.read(SMALL_FILE_BYTES + 1)
    if len(data) > SMALL_FILE_BYTES:
        raise ValueError("it is far too large")
    return data


def began_of(name: str) -> datetime | None:
    """When a session of this folder's name began, to the second; None where the name does not say."""
    try:
        return datetime.strptime(name[:19], _NAME_TIME).replace(tzinfo=UTC)
    except ValueError:
        return None


def folder_name(title: str, began_at: datetime) -> str:
    """A name that sorts by time and any file system takes."""
    words = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40].strip("-")
    return began_at.astimezone(UTC).strftime(_NAME_TIME) + (f"_{words}" if words else "")


def older_than(recordings: Path, days: float, now: datetime) -> list[SessionFolder]:
    """Closed sessions that ended more than so many days ago; one that is being recorded or was never closed is not among them."""
    found = []
    for session in find_sessions(recordings):
        closing = session.closing()
        if closing is not None and not is_held(session.path / LOCK):
            ended_at = session.manifest().began_at + timedelta(seconds=closing.ended_s)
            if now - ended_at > timedelta(days=days):
                found.append(session)
    return found
