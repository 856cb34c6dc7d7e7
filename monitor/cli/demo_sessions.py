"""A few small invented sessions of the Fernhollow show, so that there is something to review at first start."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.errors import SessionError
from monitor.layout import parse_layout
from monitor.rehearsal import demo_layout_text, fernhollow_show
from monitor.rehearsal.stream import LineStyle
from monitor.runtime.replay import session_pipeline
from monitor.sessions import SessionFolder
from monitor.sessions.folder import folder_name
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import SessionOptions
from monitor.values import Action, Chunk

PORT = "rehearsal"
LATE_S = 0.004
"""How long after its last scan a stretch of bytes arrives."""
AHEAD_BYTES = 4_000_000
READINGS = LineStyle(interval_ms=200, greeting="an invented board")


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoShow:
    """One invented session.

    Attributes:
        began_at: When it began, as its files have it.
        seed: What it is drawn from.
        seconds: How long it is.
        lines: How its board writes lines of readings; None for one that sends waveforms.
        marks: (second, what was remarked then).
    """

    began_at: dt.datetime
    seed: int
    seconds: float
    lines: LineStyle | None = None
    marks: tuple[tuple[float, str], ...] = ()


def _at(day: int, hour: int, minute: int) -> dt.datetime:
    return dt.datetime(2026, 5, day, hour, minute, tzinfo=dt.UTC)


SHOWS = (
    DemoShow(began_at=_at(16, 9, 30), seed=7, seconds=66.0, marks=((20.0, "Doors open"),)),
    DemoShow(began_at=_at(16, 13, 0), seed=23, seconds=296.0, lines=READINGS, marks=((150.0, "Cleaned rails on Inner main"),)),
    DemoShow(began_at=_at(17, 9, 30), seed=41, seconds=296.0, lines=READINGS, marks=((20.0, "Doors open"),)),
)
"""Waveforms for a minute, readings for longer: all of it together is small."""


def make_demo_sessions(recordings: Path, shows: tuple[DemoShow, ...] = SHOWS) -> Iterator[SessionFolder]:
    """Make them, one after the other; every time the same.

    Raises:
        SessionError: One of them is there already.
        SessionFullError: They cannot be written there.
    """
    for show in shows:
        path = recordings / folder_name(parse_layout(demo_layout_text(PORT)).title, show.began_at)
        if path.exists():
            raise SessionError(f"{path} is there already: remove it to have it made again, or choose another folder")
        yield _make(recordings, show)


def _make(recordings: Path, show: DemoShow) -> SessionFolder:
    text = demo_layout_text(PORT)
    pipeline = session_pipeline(parse_layout(text))
    recorder = Recorder(recordings, text, began_at=show.began_at, options=SessionOptions(invented=True, readable=True))
    folder = recorder.status().folder
    rehearsal = fernhollow_show(seed=show.seed, lines=show.lines)
    marks = list(show.marks)
    reason = "the rehearsal was stopped"
    try:
        with Progress("rehearsing", show.seconds) as progress:
            at_s = 0.0
            while at_s < show.seconds:
                part = rehearsal.next_part()
                at_s = round(part.end_s, 6)
                while marks and at_s > marks[0][0]:
                    pipeline.operate(Action(kind="mark", at_s=at_s, text=marks.pop(0)[1], by="rehearsal"))
                chunk = Chunk(data=b"".join(part.packets), received_s=round(at_s + LATE_S, 6))
                recorder.put(pipeline.feed(PORT, chunk))
                recorder.keep_up(AHEAD_BYTES)
                progress.reached(at_s)
        recorder.put(pipeline.finish())
        reason = "the rehearsal ended"
    finally:
        recorder.close(reason)
    return SessionFolder(folder or recordings)
