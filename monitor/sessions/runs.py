"""Runs: what one session tells of stalls, from its lines alone: light enough to look at the last ones whenever a page opens."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from monitor.sessions.folder import SessionFolder, find_sessions
from monitor.sessions.notice_rows import read_notices
from monitor.values import Action, Event, SlowFigure

EARLIER_LIMIT = 8
"""So many sessions back are compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFault:
    """When and where something went wrong."""

    district: str
    start_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of watching.

    Attributes:
        began_at: Wall clock at second 0 of the stream; None where nobody knows.
        first_s: From when on faults are known, seconds of the stream.
        ended_s: Until when.
        faults: What went wrong meanwhile.
        marks: Remarks of operators.
        figures: Slow figures: the last word of each kind and name.
        openings: How soon protections opened, each time, by supply, as a share of the typical time.
    """

    began_at: datetime | None
    first_s: float
    ended_s: float
    faults: tuple[SessionFault, ...] = ()
    marks: tuple[Action, ...] = ()
    figures: tuple[SlowFigure, ...] = ()
    openings: tuple[tuple[str, float], ...] = ()

    @property
    def seconds(self) -> float:
        """How long it is."""
        return max(0.0, self.ended_s - self.first_s)


def earlier_runs(recordings: Path | None, title: str, before: datetime | None) -> tuple[Run, ...]:
    """The last sessions of a layout that began before a moment, newest first.

    What was invented compares with what was invented only: the session that began at that moment says what it is.

    Args:
        recordings: The folder of sessions.
        title: Title of the layout.
        before: Wall clock; None gives none: nobody knows what was before.
    """
    if recordings is None or before is None:
        return ()
    found = [(session, session.manifest()) for session in find_sessions(recordings)]
    invented = any(manifest.invented for _, manifest in found if manifest.began_at == before)
    alike = [
        session
        for session, manifest in found
        if manifest.began_at < before
        and (manifest.title, manifest.invented) == (title, invented)
        and session.closing() is not None
    ]
    return tuple(run_of_session(session) for session in reversed(alike[-EARLIER_LIMIT:]))


def run_of_session(session: SessionFolder) -> Run:
    """A closed session as a run.

    Raises:
        SessionDamagedError: The session cannot be understood.
    """
    manifest, closing = session.manifest(), session.closing()
    events = read_notices(session, "events", Event)
    figures = read_notices(session, "slow_figures", SlowFigure)
    marks = [action for action in read_notices(session, "actions", Action) if action.kind == "mark"]
    return Run(
        began_at=manifest.began_at,
        first_s=manifest.first_s,
        ended_s=closing.ended_s if closing is not None else max([manifest.first_s, *(event.start_s for event in events)]),
        faults=faults_of(events),
        marks=tuple(marks),
        figures=last_words(figures),
        openings=tuple((figure.name, figure.value) for figure in figures if figure.kind == "opening-share"),
    )


def faults_of(events: Sequence[Event]) -> tuple[SessionFault, ...]:
    """The faults among events."""
    return tuple(SessionFault(district=event.district, start_s=event.start_s) for event in events if event.cause.is_fault)


def last_words(figures: Sequence[SlowFigure]) -> tuple[SlowFigure, ...]:
    """The last of each kind and name."""
    return tuple({(figure.kind, figure.name): figure for figure in figures}.values())
