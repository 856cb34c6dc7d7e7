"""The readings of a session for spreadsheet programs."""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor.errors import SessionDamagedError, SessionError
from monitor.sessions.folder import SessionFolder
from monitor.sessions.readings_log import LATER_COLUMNS, STEM
from monitor.sessions.table_log import part_paths, read_part

HEADINGS = {
    "at_s": "seconds of the watch (s)",
    "district": "district",
    "volts_rms": "volts RMS (V)",
    "volts_lowest": "volts lowest cycle (V)",
    "volts_highest": "volts highest cycle (V)",
    "amps_rms": "amps RMS (A)",
    "amps_lowest": "amps lowest cycle (A)",
    "amps_highest": "amps highest cycle (A)",
    "watts": "real power (W)",
    "volt_amperes": "apparent power (VA)",
    "volts_mean": "volts DC (V)",
    "amps_mean": "amps DC (A)",
    "volts_peak": "volts peak (V)",
    "amps_peak": "amps peak (A)",
    "far_volts_rms": "volts at the far end (V)",
    "frequency_hz": "mains frequency (Hz)",
    "seconds": "readings stand for (s)",
    "joules": "real energy (J)",
    "readings": "readings",
    "doubtful": "of them doubtful",
    "clipped": "of them amps at the end of the sensor's range: at least so much",
    "clipped_volts": "of them volts at the end of the sensor's range: at least so much",
}
TIME_FORM = "%Y-%m-%d %H:%M:%S"
"""To the millisecond, which is what a column of milliseconds shows as its seconds."""


def export_csv(session: SessionFolder, path: Path, tell: Callable[[int], None] = lambda _parts: None) -> int:
    """Write a CSV file.

    Args:
        session: The session.
        path: The file to write.
        tell: Called after each part with how many are done.

    Returns:
        How many rows.

    Raises:
        SessionError: There are no readings, or the file cannot be written.
    """
    pieces = csv_pieces(session)
    rows = 0
    try:
        with path.open("wb") as file:
            for done, piece in enumerate(pieces):
                file.write(piece)
                rows += piece.count(b"\n")
                tell(done)
    except OSError as error:
        raise SessionError(f"{path} cannot be written ({error.strerror}): check its folder") from error
    return rows - 1


def csv_pieces(session: SessionFolder) -> Iterator[bytes]:
    """The table piece by piece: commas, points, UTF-8 with its mark, a time column that spreadsheet programs take for a time.

    Raises:
        SessionError: There are no readings; raised at once, not at the first piece.
    """
    parts = part_paths(session.readings, STEM)
    if not parts:
        raise SessionError(f"{session.path} holds no readings: if it was cut off, run 'pilotlamp sessions recover' first")
    offset = session.manifest().began_at.astimezone().utcoffset() or timedelta(0)
    return _pieces(parts, offset)


def _pieces(parts: list[Path], offset: timedelta) -> Iterator[bytes]:
    minutes = round(offset.total_seconds() / 60)
    sign = "+" if minutes >= 0 else "-"
    heading = f"time (UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d})"
    yield (",".join([heading, *HEADINGS.values()]) + "\r\n").encode("utf-8-sig")
    for part in parts:
        table = _table(part)
        if table is None:
            continue
        local = pc.add(table["time"].cast(pa.timestamp("ms"), safe=False), pa.scalar(offset, pa.duration("ms")))
        columns = [pc.strftime(local, TIME_FORM).to_pylist(), *(_written(table[name]) for name in HEADINGS)]
        lines = io.StringIO()
        csv.writer(lines, lineterminator="\r\n").writerows(zip(*columns, strict=True))
        yield lines.getvalue().encode()


def _written(column: pa.ChunkedArray) -> list[str]:
    if not pa.types.is_floating(column.type):
        return [_harmless(str(value)) for value in column.to_pylist()]
    values = column.to_numpy().astype(float)
    return list(np.where(np.isnan(values), "", np.char.mod("%.4f", values)))


def _table(part: Path) -> pa.Table | None:
    try:
        table = read_part(part, ["time", *HEADINGS], later=LATER_COLUMNS)
        return None if table is None else table.sort_by("at_s")
    except (pa.ArrowException, OSError, KeyError, ValueError) as error:
        raise SessionDamagedError(
            f"{part} cannot be read ({error}): 'pilotlamp sessions recover' puts the session in order"
        ) from error


def _harmless(name: str) -> str:
    """A name that a spreadsheet program cannot take for a formula."""
    return f"'{name}" if name[:1] in "=+-@\t\r" else name
