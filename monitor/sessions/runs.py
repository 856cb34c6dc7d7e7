"""Runs: what sessions tell of stalls from their lines alone, and what changed between them by more than it scatters."""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from monitor.diagnosis.rates import RateChange, compare_rates
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
        began_at: Wall clock at second 0 of the stream; None where it is not known.
        first_s: From when on faults are known, seconds of the stream.
        faults: What went wrong meanwhile.
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
        before: Wall clock; None gives none: what was before is not known.
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


Verdict = Literal["changed", "alike", "unclear"]

COMPARED_KINDS = ("source-ohms", "loop-ohms", "opening-share")
LEAST_SHARE = 0.1
"""A smaller change is none: copper that is 25 K warmer has a tenth more ohms (0.00393 per kelvin, IEC 60028)."""
LEAST_COUNT = 3
SURE_ERRORS = 2.58
"""Standard errors: chance alone goes beyond once in a hundred times (normal distribution, two-sided)."""
QUARTILE_ERRORS = 0.6745
"""The upper quartile of a normal distribution, in standard deviations."""
MEDIAN_ERRORS = math.sqrt(math.pi / 2)
"""Standard error of a median over that of a mean, normal distribution."""
T_95 = {2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365}
"""Student's t by degrees of freedom, two-sided 95 %: beyond lies one in twenty."""
LEAST_SPAN_S = 30.0
"""A rate over less time says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureChange:
    """A slow figure against what it was.

    Attributes:
        last: As it was in the last session that has it.
        sessions: How many earlier sessions have it.
        last_run: The session that it is from.
        verdict: "changed": by more than both scatter, and than sessions do among themselves where three or more are known;
            "alike": by less than a tenth; "unclear": by more, but that may be scatter.
    """

    now: SlowFigure
    last: SlowFigure
    sessions: int
    last_run: Run
    verdict: Verdict

    @property
    def share(self) -> float:
        """Change as a share of what it was."""
        return self.now.value / self.last.value - 1 if self.last.value else math.inf


def figure_changes(now: Sequence[SlowFigure], earlier: Sequence[Run]) -> tuple[FigureChange, ...]:
    """Source ohms, loop ohms and opening times against earlier sessions."""
    found = []
    for figure in now:
        had = [(run, old) for run in earlier for old in run.figures if (old.kind, old.name) == (figure.kind, figure.name)]
        if figure.kind in COMPARED_KINDS and had:
            last_run, last = had[0]
            values = _values(figure, [old for _, old in had], earlier)
            change = FigureChange(
                now=figure, last=last, sessions=len(had), last_run=last_run, verdict=_verdict(figure, last, values)
            )
            found.append(change)
    return tuple(found)


def rate_since(mark: Action, own: Run, earlier: Run | None, later: Sequence[Run]) -> RateChange | None:
    """Faults before and since a remark, in its district or in all.

    Before is the session that it was made in, up to it, and the session before that; since is all after it.

    Args:
        mark: The remark.
        own: The session that it was made in.
        earlier: The session before that one; None where there is none.
        later: The sessions after it.

    Returns:
        None where either span is too short to count over.
    """
    before_s = max(0.0, mark.at_s - own.first_s) + (earlier.seconds if earlier is not None else 0.0)
    after_s = max(0.0, own.ended_s - mark.at_s) + sum(run.seconds for run in later)
    if before_s < LEAST_SPAN_S or after_s < LEAST_SPAN_S:
        return None
    own_before = sum(fault.start_s < mark.at_s for fault in own.faults if mark.district in (None, fault.district))
    before = own_before + (_count(earlier, mark.district) if earlier is not None else 0)
    after = _count(own, mark.district) - own_before + sum(_count(run, mark.district) for run in later)
    return compare_rates(before, before_s, after, after_s)


def rate_against(now: Run, last: Run, district: str | None = None) -> RateChange | None:
    """Faults now against those of an earlier session, in one district or in all; None where either is too short."""
    if min(now.seconds, last.seconds) < LEAST_SPAN_S:
        return None
    return compare_rates(_count(last, district), last.seconds, _count(now, district), now.seconds)


def standard_error(figure: SlowFigure) -> float | None:
    """Of a figure that is a median, from its quartiles and count; None where it rests on too little."""
    if figure.count < LEAST_COUNT:
        return None
    return MEDIAN_ERRORS * figure.spread / QUARTILE_ERRORS / math.sqrt(figure.count)


def _verdict(now: SlowFigure, last: SlowFigure, values: Sequence[float]) -> Verdict:
    change = now.value - last.value
    if abs(change) <= LEAST_SHARE * abs(last.value):
        return "alike"
    beyond_sessions = len(values) < LEAST_COUNT or _is_beyond(now.value, values)
    if now.kind == "opening-share":
        # One opening has no scatter of its own: only several earlier ones tell what is usual.
        return "changed" if len(values) >= LEAST_COUNT and beyond_sessions else "unclear"
    errors = [standard_error(now), standard_error(last)]
    own = [error for error in errors if error is not None]
    if len(own) < 2 or abs(change) <= SURE_ERRORS * math.hypot(*own):
        return "unclear"
    return "changed" if beyond_sessions else "unclear"


def _is_beyond(value: float, values: Sequence[float]) -> bool:
    """Whether the next of these values would be so far off by chance less than once in twenty times (prediction interval)."""
    n = len(values)
    reach = T_95[min(n - 1, max(T_95))] * statistics.stdev(values) * math.sqrt(1 + 1 / n)
    return abs(value - statistics.fmean(values)) > reach


def _values(figure: SlowFigure, had: Sequence[SlowFigure], earlier: Sequence[Run]) -> list[float]:
    if figure.kind == "opening-share":
        return [share for run in earlier for name, share in run.openings if name == figure.name]
    return [old.value for old in had]


def _count(run: Run, district: str | None) -> int:
    return sum(district in (None, fault.district) for fault in run.faults)
