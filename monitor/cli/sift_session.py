"""A recorded session sifted: what it says again, or what it would have said with another layout file."""

import sys
from collections.abc import Callable
from pathlib import Path

from monitor.cli.progress import Progress
from monitor.errors import SessionError
from monitor.layout import Layout
from monitor.runtime.session_stream import session_steps
from monitor.runtime.sifted import Sifted
from monitor.runtime.summary import SummaryBuilder
from monitor.sessions import Playback, SessionFolder
from monitor.sessions.merging import merged
from monitor.values import Step

WINDOW_S = 150.0
"""Chunks are joined over this time."""


def sift_session(path: Path, layout: Layout | None, *, exact: bool = False, sink: Callable[[Step], None] | None = None) -> Sifted:
    """Work through a session.

    Args:
        path: Its folder.
        layout: Another layout than its own ("would that breaker have opened?"); its own when None.
        exact: Chunk by chunk as it came.
        sink: Takes each step too.

    Raises:
        SessionError: There is nothing in it, or it cannot be understood.
    """
    session = SessionFolder(path)
    manifest = session.manifest()
    layout = session.at_its_ports(layout) if layout is not None else session.layout()
    sifted, summary = Sifted(layout, sink), SummaryBuilder(layout)
    playback = Playback(session)
    with Progress("sifting", session.length_s()) as progress:
        for step in session_steps(playback if exact else merged(playback, WINDOW_S), layout):
            sifted.add(step)
            summary.add(step)
            progress.reached(step.now_s - manifest.first_s)
    if not playback.raw_bytes:
        raise SessionError(f"{path}: this session holds no bytes: nothing was recorded")
    for sentence in playback.damage:
        print(f"pilotlamp: {path}: {sentence}; worked through what is left", file=sys.stderr)
    sifted.summary = summary.build()
    return sifted
