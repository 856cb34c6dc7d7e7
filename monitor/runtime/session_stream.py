"""A recorded session through the very pipeline that made it."""

from collections.abc import Iterable, Iterator

from monitor.layout import Layout
from monitor.link.board_clock import BoardClock
from monitor.protection import Asked
from monitor.runtime.pipeline import Pipeline
from monitor.sessions import Played
from monitor.sessions.merging import Together
from monitor.values import Step


def session_pipeline(layout: Layout, asked: Asked | None = None) -> Pipeline:
    """The pipeline as a watch has it: board time follows the host's, as it was when the bytes came."""
    return Pipeline(layout, clock_for_board=lambda _board: BoardClock(), asked=asked)


def session_steps(chunks: Iterable[Played | Together], layout: Layout, asked: Asked | None = None) -> Iterator[Step]:
    """Every step of a session again, and at last what the pipeline held back.

    Fed with the same chunks in the same order at the same times, the pipeline says the same as when it was live; with another
    layout it says what would have been said.

    Args:
        chunks: The session's chunks, as they came or joined to be taken together.
        layout: Its own layout or another one.
        asked: What is asked of the judge besides warnings.
    """
    pipeline = session_pipeline(layout, asked)
    for played in chunks:
        for action in played.actions:
            pipeline.operate(action)
        yield pipeline.feed_together(played.chunks)
    yield pipeline.finish()
