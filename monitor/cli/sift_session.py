"""A recorded session sifted: what it says again, or what it would have said with another layout file."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.errors import SessionError
from monitor.layout import Layout
from monitor.protection import Asked
from monitor.runtime.replay import session_steps
from monitor.runtime.sifted import Sifted
from monitor.runtime.summary import SummaryBuilder
from monitor.runtime.would_open import Verdict, WouldOpen, openings
from monitor.sessions import Playback, SessionFolder
from monitor.sessions.merging import merged
from monitor.values import Step

WINDOW_S = 150.0
"""Chunks are joined over this time."""


def would_open_verdicts(session: SessionFolder, layout: Layout) -> tuple[Verdict, ...]:
    """What the protections of another layout would have done with what a session recorded.

    Raises:
        SessionError: The session cannot be understood.
    """
    would_open = WouldOpen(layout, openings(session))
    with Progress("asking its protections", session.length_s()) as progress:
        for step in session_steps(merged(Playback(session), WINDOW_S), layout, Asked(would_open=True)):
            would_open.take(step)
            progress.reached(step.now_s - session.manifest().first_s)
    return would_open.verdicts()


def sift_session(
    path: Path,
    layout: Layout | None,
    asked: Asked | None = None,
    *,
    exact: bool = False,
    sink: Callable[[Step], None] | None = None,
) -> Sifted:
    """Work through a session.

    Args:
        path: Its folder.
        layout: Another layout than its own ("would that breaker have opened?"); its own when None.
        asked: What is asked besides warnings; with another layout than its own always what would have opened.
        exact: Chunk by chunk as it came.
        sink: Takes each step too.

    Raises:
        SessionError: There is nothing in it, or it cannot be understood.
    """
    session = SessionFolder(path)
    manifest = session.manifest()
    own = session.layout()
    layout = session.at_its_ports(layout) if layout is not None else own
    asked = asked or Asked()
    asked = replace(asked, would_open=asked.would_open or layout != own)
    would_open = WouldOpen(layout, openings(session)) if asked.would_open else None
    sifted, summary = Sifted(layout, sink, would_open), SummaryBuilder(layout)
    playback = Playback(session)
    with Progress("sifting", session.length_s()) as progress:
        for step in session_steps(playback if exact else merged(playback, WINDOW_S), layout, asked):
            sifted.add(step)
            summary.add(step)
            progress.reached(step.now_s - manifest.first_s)
    if not playback.raw_bytes:
        raise SessionError(f"{path}: this session holds no bytes: nothing was recorded")
    for sentence in (*session.missing(), *playback.damage):
        print(f"pilotlamp: {path}: {sentence}; worked through what is left", file=sys.stderr)
    sifted.summary = summary.build()
    return sifted
