"""``pilotlamp sift``: a capture or a recording, worked through offline by the very pipeline that watches live."""

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from monitor.errors import CaptureError
from monitor.layout import Layout, load_layout
from monitor.protection import Asked
from monitor.runtime import Pipeline, SummaryBuilder
from monitor.runtime.sifted import Sifted
from monitor.values import BoardSeen, Chunk, Step
from monitor.wire.inspection import Transcript, why_not

if TYPE_CHECKING:
    from monitor.runtime.would_open import WouldOpen

CHUNK_BYTES = 1 << 21


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("path", type=Path, metavar="PATH", help="a capture (NAME.wire) or a recorded session's folder")
    parser.add_argument("--layout", type=Path, metavar="LAYOUT.toml", help="the layout file; a session brings its own")
    parser.add_argument(
        "--exact", action="store_true", help="a session: chunk by chunk as it came, far slower, to the same digit"
    )
    parser.add_argument(
        "--readings", type=Path, metavar="FILE.parquet", help="also write every reading there, with its uncertainty"
    )
    parser.add_argument("--forecasts", action="store_true", help="also when protections were foreseen to open, every 2 s")
    parser.add_argument(
        "--would-open",
        action="store_true",
        help="also when the layout's protections would have opened; always so where a session has another layout",
    )
    parser.add_argument("--json", action="store_true", help="JSON objects, one a line, instead of a table")


def run(args: argparse.Namespace) -> int:
    """Sift and print."""
    if args.readings is None:
        sifted = _sifted(args)
    else:
        # Imported here: without it sifting a capture needs no tables.
        from monitor.sessions.readings_file import ReadingsFile  # noqa: PLC0415 - start-up time

        with ReadingsFile(args.readings) as readings:
            sifted = _sifted(args, readings.add)
    if args.json:
        encoder = msgspec.json.Encoder()
        sys.stdout.write("".join(encoder.encode(line).decode() + "\n" for line in sifted.lines()))
    else:
        sys.stdout.write(sifted.table())
    return 0


def _sifted(args: argparse.Namespace, sink: Callable[[Step], None] | None = None) -> Sifted:
    layout = None if args.layout is None else load_layout(args.layout)
    asked = Asked(would_open=args.would_open, forecasts=args.forecasts, intervals=args.readings is not None)
    if args.path.is_dir():
        # Imported here: a capture needs none of it.
        from monitor.cli.sift_session import sift_session  # noqa: PLC0415 - start-up time

        return sift_session(args.path, layout, asked, exact=args.exact, sink=sink)
    if layout is None:
        raise CaptureError("a capture needs its layout file: add --layout LAYOUT.toml")
    return sift_capture(args.path, layout, sink, asked)


def sift_capture(path: Path, layout: Layout, sink: Callable[[Step], None] | None = None, asked: Asked | None = None) -> Sifted:
    """Work through a capture file.

    Raises:
        CaptureError: The file cannot be read or holds nothing of either wire form.
    """
    _check_times(path, layout)
    pipeline, summary = Pipeline(layout, asked=asked), SummaryBuilder(layout)
    sifted = Sifted(layout, sink, _would_open(layout) if asked is not None and asked.would_open else None)
    boards: dict[int, BoardSeen] = {}
    unexplained_bytes: int | None = None
    transcript = Transcript()
    for chunk in _chunks(path):
        step = pipeline.feed(path.name, chunk)
        sifted.add(step)
        summary.add(step)
        unexplained_bytes = step.unexplained_bytes
        if unexplained_bytes:
            transcript.take(chunk.data)
        boards.update((seen.identity.number, seen) for seen in step.boards)
    if unexplained_bytes is None:
        raise CaptureError(f"{path}: the file is empty: nothing was captured")
    if unexplained_bytes:
        reason = why_not(transcript.inspect(), str(path), None, layout.line_board(path.name))
        raise CaptureError(f"{path}: nothing in these {unexplained_bytes} bytes is understood. {reason}")
    _check_boards(path, layout, list(boards.values()))
    step = pipeline.finish(path.name)
    sifted.add(step)
    summary.add(step)
    sifted.summary = summary.build()
    return sifted


def _would_open(layout: Layout) -> "WouldOpen":
    # Imported here: without it sifting a capture needs no sessions.
    from monitor.runtime.would_open import WouldOpen  # noqa: PLC0415 - start-up time

    return WouldOpen(layout)


def _check_times(path: Path, layout: Layout) -> None:
    """A capture does not know when its lines came: somebody has to say it."""
    board = layout.line_board(path.name)
    if board is not None and board.lines is not None and board.lines.time_ms is None and board.lines.interval_ms is None:
        raise CaptureError(
            f'{path}: nothing says when the lines of board "{board.name}" were sent: write time_ms (the place of its own milliseconds) or '
            "interval_ms (the usual time between two lines) under [board.lines] of the layout file"
        )


def _check_boards(path: Path, layout: Layout, boards: list[BoardSeen]) -> None:
    """One sentence where the capture and the layout do not belong together."""
    known = ", ".join(f"{board.name} (number {board.number})" for board in layout.board) or "none"
    if boards and all(seen.board is None for seen in boards):
        identity = boards[0].identity
        raise CaptureError(
            f'{path}: these bytes come from board "{identity.name}", number {identity.number}, which the layout does not have '
            f"(it has: {known}): correct the board's name or number there, or take another layout file"
        )
    for seen in boards:
        if seen.missing_channels:
            raise CaptureError(
                f'{path}: board "{seen.board}" has {len(seen.identity.channels)} channels, numbered from 0, but the layout file '
                f"uses channel {seen.missing_channels[0]}: correct the district's channels"
            )


def _chunks(path: Path) -> Iterator[Chunk]:
    try:
        with path.open("rb") as capture:
            while data := capture.read(CHUNK_BYTES):
                yield Chunk(data=data)
    except OSError as error:
        raise CaptureError(f"{path} cannot be read ({error.strerror}): check the name and its rights") from error
