"""What a session says of itself: its manifest when it begins, its closing row when it ends."""

import hashlib
import platform
from collections.abc import Mapping
from datetime import datetime
from importlib import metadata
from pathlib import Path

import msgspec

from monitor.sessions.durable import write_whole
from monitor.sessions.folder import CLOSING, FORMAT, LOCK, MANIFEST, Closing, FileSeal, Manifest, SessionFolder
from monitor.values.json_text import json_bytes

ABOUT = {
    "raw/port-N-PART.wire.xz": "bytes of port N exactly as they came; xz -dc of all parts in order is the capture",
    "steps/steps-PART.csv.xz": "one row a chunk: its port, how many bytes, seconds of the stream when they arrived",
    "readings/": "Apache Parquet: one row a district and fifth of a second; SI units, named in the columns",
    "snapshots/": "Apache Parquet: one row a channel of the samples around one event: volts or amps from start_s on, every interval_s; "
    "a moment that several events of a board share is kept once",
    "*.jsonl": "one JSON object a line; at_s: seconds of the stream when it was written; an id comes again when something changed",
    "time": "seconds of the stream count from began_at",
}


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
    write_whole(session.path / MANIFEST, msgspec.json.format(json_bytes(manifest), indent=2) + b"\n")


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
    write_whole(session.path / CLOSING, msgspec.json.format(json_bytes(closing), indent=2) + b"\n")


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
