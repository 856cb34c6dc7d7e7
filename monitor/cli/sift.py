"""``pilotlamp sift``: a capture or a recording, worked through offline by the very pipeline that watches live."""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import msgspec

from monitor.errors import CaptureError
from monitor.layout import Layout, load_layout
from monitor.runtime import Pipeline, SummaryBuilder
from monitor.runtime.sifted import Sifted
from monitor.values import Chunk

CHUNK_BYTES = 1 << 18


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("path", type=Path, metavar="PATH", help="a capture (NAME.wire) or a recorded session's folder")
    parser.add_argument("--layout", type=Path, metavar="LAYOUT.toml", help="the layout file; a session brings its own")
    parser.add_argument("--json", action="store_true", help="JSON objects, one a line, instead of a table")


def run(args: argparse.Namespace) -> int:
    """Sift and print."""
    if args.layout is None:
        raise CaptureError("a capture needs its layout file: add --layout LAYOUT.toml")
    sifted = sift_capture(args.path, load_layout(args.layout))
    if args.json:
        encoder = msgspec.json.Encoder()
        sys.stdout.write("".join(encoder.encode(line).decode() + "\n" for line in sifted.lines()))
    else:
        sys.stdout.write(sifted.table())
    return 0


def sift_capture(path: Path, layout: Layout) -> Sifted:
    """Work through a capture file.

    Raises:
        CaptureError: The file cannot be read or holds nothing of either wire form.
    """
    pipeline, summary = Pipeline(layout), SummaryBuilder(layout)
    sifted = Sifted(layout)
    unexplained_bytes = 0
    for chunk in _chunks(path):
        step = pipeline.feed(path.name, chunk)
        sifted.add(step)
        summary.add(step)
        unexplained_bytes = step.unexplained_bytes
    if unexplained_bytes:
        raise CaptureError(
            f"{path}: nothing in these {unexplained_bytes} bytes is of either wire form: is this a capture of a sensor board, "
            "taken at the board's baud rate?"
        )
    step = pipeline.finish(path.name)
    sifted.add(step)
    summary.add(step)
    sifted.summary = summary.build()
    return sifted


def _chunks(path: Path) -> Iterator[Chunk]:
    try:
        with path.open("rb") as capture:
            while data := capture.read(CHUNK_BYTES):
                yield Chunk(data=data)
    except OSError as error:
        raise CaptureError(f"{path} cannot be read ({error.strerror}): check the name and its rights") from error
