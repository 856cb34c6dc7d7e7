"""Puts sessions in order that were cut off: a killed program, a power cut, a disk that was pulled."""

import contextlib
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import SessionDamagedError
from monitor.sessions.durable import write_whole
from monitor.sessions.folder import CLOSING, LOCK, NOTICE_KINDS, Closing, SessionFolder
from monitor.sessions.notice_rows import read_rows, row_line
from monitor.sessions.playback import Playback
from monitor.sessions.readings_log import readings_parquet
from monitor.sessions.session_lock import is_held
from monitor.sessions.session_writer import write_closing
from monitor.sessions.snapshot_log import snapshots_parquet
from monitor.sessions.table_log import Parquet, is_whole, seal_open
from monitor.sessions.xz_log import seal_plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """What was done for one session.

    Attributes:
        session: Which.
        ended_s: Seconds of the stream that it reaches.
        losses: What is missing, one sentence each.
    """

    session: SessionFolder
    ended_s: float
    losses: tuple[str, ...]


def needs_recovery(session: SessionFolder) -> bool:
    """True for a session that was never closed and that nobody records at this moment."""
    return not (session.path / CLOSING).exists() and not is_held(session.path / LOCK)


def recover_all(recordings: Path) -> list[Recovered]:
    """Put every session of a folder in order that needs it; one that cannot be understood is left as it is."""
    recovered = []
    for path in sorted(recordings.iterdir()) if recordings.is_dir() else ():
        session = SessionFolder(path)
        with contextlib.suppress(SessionDamagedError, OSError):
            session.manifest()
            if needs_recovery(session):
                recovered.append(recover(session))
    return recovered


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
            # Out of the way of whoever opens the folder, not away: somebody may know how to mend it.
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
