"""What the review page wants of recorded sessions, each a job for a worker process: it reads files that may be large, or hostile."""

import functools
import sys
import tempfile
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np

from dashboard.session_cache import Listed, OpenSession, SessionCache
from dashboard.views.markup import markup
from dashboard.views.review import sheet
from dashboard.views.review_notices import time_line_marks
from monitor.errors import SessionError
from monitor.planning.bench_check import outstanding, today_here
from monitor.sessions.course import DistrictCourse
from monitor.sessions.figures import SessionReview, review
from monitor.sessions.pack import pack
from monitor.sessions.report import report

CYCLES_WITHIN_S = 60.0
"""A stretch no longer than this shows every cycle,"""
SAMPLES_WITHIN_S = 5.0
"""one no longer than this every sample, where the board sent samples."""
LEAST_S = 0.02
POINTS_LEAST, POINTS_MOST = 100, 6000

Level = Literal["rows", "cycles", "samples"]


class Lane(msgspec.Struct, frozen=True, kw_only=True):
    """How many numbers of each kind follow for one district: times, volts, times, amps."""

    name: str
    volts: int
    amps: int


class Head(msgspec.Struct, frozen=True, kw_only=True):
    """What the numbers are.

    Attributes:
        from_s: Times count from here.
        to_s: Where the stretch ends.
        level: Lowest and highest of fifths of seconds, one-cycle RMS, or samples.
        lanes: One a district, in file order.
    """

    from_s: float
    to_s: float
    level: Level
    lanes: tuple[Lane, ...]


def stretch(session: OpenSession, from_s: float, to_s: float, points: int) -> bytes:
    """One line of JSON (:class:`Head`), then little-endian 32-bit floats, lane by lane.

    Args:
        session: The session.
        from_s: Where the stretch begins, seconds of the stream.
        to_s: Where it ends.
        points: How many points a lane has room for.
    """
    from_s = min(max(from_s, session.first_s), session.last_s - LEAST_S)
    to_s = max(min(to_s, session.last_s), from_s + LEAST_S)
    points = min(max(points, POINTS_LEAST), POINTS_MOST)
    level, source = _source(session, from_s, to_s)
    names = [district.name for district in session.layout.district]
    parts = {name: source[name].part(from_s, to_s, points) for name in names if name in source}
    lanes = [Lane(name=n, volts=_size(parts.get(n), "volts"), amps=_size(parts.get(n), "amps")) for n in names]
    head = msgspec.json.encode(Head(from_s=from_s, to_s=to_s, level=level, lanes=tuple(lanes)))
    return b"".join([head, b"\n", *(_numbers(parts[name], from_s) for name in names if name in parts)])


def _source(session: OpenSession, from_s: float, to_s: float) -> tuple[Level, dict[str, DistrictCourse]]:
    """The closest look that there is for a stretch of this length."""
    span_s = to_s - from_s
    if session.near is not None and span_s <= SAMPLES_WITHIN_S:
        found = session.near.samples(from_s, to_s)
        if found:
            return "samples", found
    if session.near is not None and span_s <= CYCLES_WITHIN_S:
        found = session.near.cycles(from_s, to_s)
        if found:
            return "cycles", found
    return "rows", session.courses


def _size(course: DistrictCourse | None, quantity: Literal["volts", "amps"]) -> int:
    return 0 if course is None else len(getattr(course, quantity).at_s)


def _numbers(part: DistrictCourse, from_s: float) -> bytes:
    pieces = []
    for course in (part.volts, part.amps):
        both = np.concatenate([course.at_s - from_s, course.values]).astype(np.float32)
        pieces.append((both if sys.byteorder == "little" else both.byteswap()).tobytes())
    return b"".join(pieces)


def sheet_html(recordings: Path | None, session_ids: tuple[str, ...]) -> str:
    """One session whole, or two side by side."""
    return markup(sheet([_open(recordings, session_id) for session_id in session_ids]))


def marks_json(recordings: Path | None, session_id: str) -> bytes:
    """What stands on the time line."""
    return msgspec.json.encode(time_line_marks(_open(recordings, session_id)))


def trace_bytes(recordings: Path | None, session_id: str, from_s: float, to_s: float, points: int) -> bytes:
    """A stretch of it; see :func:`dashboard.session_jobs.stretch`."""
    return stretch(_open(recordings, session_id), from_s, to_s, points)


def report_html(recordings: Path | None, session_id: str) -> str:
    """The report to print."""
    session = _find(recordings, session_id).session
    layout = session.layout()
    return report(session, outstanding(layout, today=today_here()), layout)


def table_file(recordings: Path | None, session_id: str) -> Path:
    """A file with the table of its readings, in a new folder; remove that when it is sent."""
    # For the worker alone, not for the pages that name this function.
    from monitor.sessions.csv_export import csv_pieces  # noqa: PLC0415

    pieces = csv_pieces(_find(recordings, session_id).session)
    path = Path(tempfile.mkdtemp(prefix="pilotlamp-")) / "session.csv"
    with path.open("wb") as file:
        file.writelines(pieces)
    return path


def packed_file(recordings: Path | None, session_id: str) -> Path:
    """A file with the packed session, likewise."""
    session = _find(recordings, session_id).session
    return pack(session, Path(tempfile.mkdtemp(prefix="pilotlamp-")) / "session.zip")


def session_figures(recordings: Path | None, session_id: str) -> SessionReview:
    """The figures alone, of a session that is over."""
    return review(_find(recordings, session_id).session)


def _open(recordings: Path | None, session_id: str) -> OpenSession:
    return _cache(recordings).open(_find(recordings, session_id))


def _find(recordings: Path | None, session_id: str) -> Listed:
    listed = _cache(recordings).find(session_id)
    if listed is None:
        raise SessionError(f"{session_id} is not there any more: choose another from the list")
    return listed


@functools.cache
def _cache(recordings: Path | None) -> SessionCache:
    return SessionCache(recordings)
