"""Puts sessions in order that were cut off: a killed program, a power cut, a disk that was pulled."""

import contextlib
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from monitor.errors import MonitorError, SessionDamagedError
from monitor.layout import load_layout
from monitor.sessions.description import new_manifest, seal_of, write_closing, write_manifest
from monitor.sessions.durable import is_held, write_whole
from monitor.sessions.folder import (
    FORMAT,
    LAYOUT,
    LOCK,
    MANIFEST,
    NOTICE_KINDS,
    SMALL_FILE_BYTES,
    Closing,
    SessionFolder,
    began_of,
    damaged_sessions,
    find_sessions,
)
from monitor.sessions.notice_rows import read_rows, row_line
from monitor.sessions.playback import Playback
from monitor.sessions.readings_log import readings_parquet
from monitor.sessions.snapshot_log import snapshots_parquet
from monitor.sessions.table_log import Parquet, is_whole, seal_open
from monitor.sessions.xz_log import seal_plain

BEGINS_WITHIN_S = 60.0
"""A session whose first bytes came later than this goes on from another one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """What was done for one session.

    Attributes:
        ended_s: Seconds of the stream that it reaches.
        losses: What is missing, one sentence each.
    """

    session: SessionFolder
    ended_s: float
    losses: tuple[str, ...]


def needs_recovery(session: SessionFolder) -> bool:
    """True for a session that was never closed, or whose closing row is damaged, and that is not being recorded at this moment."""
    return session.closing() is None and not is_held(session.path / LOCK)


def recover_all(recordings: Path) -> list[Recovered]:
    """Put every session of a folder in order that needs it; what cannot be written at this moment is left as it is."""
    recovered = []
    for session, _ in damaged_sessions(recordings):
        with contextlib.suppress(SessionDamagedError, OSError):
            if not is_held(session.path / LOCK):
                recovered.append(_with_new_manifest(session))
    for session in find_sessions(recordings):
        with contextlib.suppress(SessionDamagedError, OSError):
            if needs_recovery(session):
                recovered.append(recover(session))
    return recovered


def _with_new_manifest(session: SessionFolder) -> Recovered:
    """Make a damaged manifest again: the raw bytes are the truth, and what they need stands in the folder's name and the chunk log.

    Raises:
        SessionDamagedError: Another version of this program wrote it, or there is no trace of when it began.
        OSError: There is no room, or no right, to write.
    """
    path = session.path / MANIFEST
    if path.is_file():
        if _format_of(path) > FORMAT:
            raise SessionDamagedError(f"{path} is of a newer form: update pilotlamp")
        path.replace(path.with_name(f"{MANIFEST}.damaged"))
    starts = Playback(session).part_starts()
    first_s = starts[0][1] if starts and starts[0][1] > BEGINS_WITHIN_S else 0.0
    began_at = began_of(session.path.name)
    if began_at is None:
        raise SessionDamagedError(f"{session.path}: its name does not say when it began: call it YYYY-MM-DD_HH-MM-SS_title")
    title = ""
    with contextlib.suppress(MonitorError):
        title = load_layout(session.path / LAYOUT).title
    manifest = new_manifest(title, began_at, ports={}, invented=False)
    write_manifest(session, msgspec.structs.replace(manifest, first_s=first_s))
    loss = f"{MANIFEST} was damaged and was made again: when it began is known to the second only"
    closing = session.closing()
    if closing is not None:
        # Only what was made again is sealed again: damage elsewhere still shows.
        files = {name: seal for name, seal in closing.files.items() if name != MANIFEST}
        files |= {
            name: seal_of(session.path / name) for name in (MANIFEST, f"{MANIFEST}.damaged") if (session.path / name).is_file()
        }
        write_closing(session, msgspec.structs.replace(closing, losses=(*closing.losses, loss)), files)
        return Recovered(session=session, ended_s=closing.ended_s, losses=(loss,))
    done = recover(session)
    return replace(done, losses=(loss, *done.losses))


def _format_of(path: Path) -> int:
    try:
        said = msgspec.json.decode(path.read_bytes()[:SMALL_FILE_BYTES])
    except (ValueError, RecursionError):
        return 0
    number = said.get("format") if isinstance(said, dict) else None
    return number if isinstance(number, int) else 0


def recover(session: SessionFolder) -> Recovered:
    """Seal what was left open, drop what was half written, write the closing row.

    Every step may be cut off itself and is done again at the next start: nothing is removed before what replaces it is in place.

    Raises:
        SessionDamagedError: The folder cannot be understood.
        OSError: There is no room, or no right, to write.
    """
    manifest = session.manifest()
    losses: list[str] = []
    for leftover in session.path.rglob("*.tmp"):
        leftover.unlink()
    for folder, pattern in ((session.raw, "*.wire"), (session.steps, "*.csv")):
        for plain in sorted(folder.glob(pattern)):
            seal_plain(plain)
    losses += _recover_table(session.readings, readings_parquet, "readings")
    losses += _recover_table(session.snapshots, snapshots_parquet, "samples around events")
    for kind in NOTICE_KINDS:
        losses += _mend_lines(session.notices(kind))
    playback = Playback(session)
    ended_s, steps, raw_bytes = manifest.first_s, 0, dict[str, int]()
    for played in playback:
        steps += 1
        ended_s = max(ended_s, played.chunk.received_s or 0.0)
        if played.chunk.data:
            raw_bytes[played.port] = raw_bytes.get(played.port, 0) + len(played.chunk.data)
    losses += playback.damage
    closing = Closing(
        reason="the recording was cut off and put in order later",
        ended_s=ended_s,
        steps=steps,
        raw_bytes=raw_bytes,
        recovered=True,
        losses=tuple(losses),
    )
    write_closing(session, closing)
    with contextlib.suppress(OSError):
        (session.path / LOCK).unlink()
    return Recovered(session=session, ended_s=ended_s, losses=tuple(losses))


def _recover_table(folder: Path, parquet: Parquet, what: str) -> list[str]:
    for path in sorted(folder.glob("_*.arrows")):
        seal_open(path, parquet)
    losses = []
    for path in sorted(folder.glob("*.parquet")):
        if not is_whole(path):
            # Out of the way of readers, but not deleted: it may still be mended by hand.
            path.replace(path.with_name(f"_{path.name}.damaged"))
            losses.append(f"{folder.name}/{path.name} is damaged; its {what} can be made again from the raw bytes")
    return losses


def _mend_lines(path: Path) -> list[str]:
    """Drop lines that a cut left half written."""
    rows, bad = read_rows(path)
    if not bad:
        return []
    write_whole(path, b"".join(map(row_line, rows)))
    return [f"{bad} line of {path.name} was cut off"]
