"""How fast the whole way from bytes to conclusions is: ``python -m tests.bench.bench_sift [--seconds 60] [--folder CAPTURES]``.

The show of one board (four districts) and of four (sixteen outputs in one stream), sifted; and live, a piece of each port every 50 ms, with
everything recorded. Processor time, each beside the floor of ``bench_decode`` for the same bytes.
"""

import argparse
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import msgspec

from monitor.cli.sift import CHUNK_BYTES, sift_capture
from monitor.layout import Layout, load_layout
from monitor.rehearsal import demo_layout_text, fernhollow_show
from monitor.runtime import Pipeline
from monitor.sessions.recorder import Recorder
from monitor.values import Chunk
from tests.bench.bench_decode import packed_floor
from tests.sessions.shows import BEGAN_AT

LIVE_PIECE_S, LIVE_PIECES = 0.05, 5
"""The show comes in parts of a quarter of a second."""
PORTS = ("/dev/ttyUSB0", "/dev/ttyUSB1", "/dev/ttyUSB2", "/dev/ttyUSB3")


def parts(boards: int, seconds: float) -> list[tuple[str, Chunk]]:
    """What the ports bring, a quarter of a second each."""
    found = []
    for number in range(boards):
        show = fernhollow_show(number, 7)
        while (part := show.next_part()).end_s <= seconds:
            found.append((PORTS[number], Chunk(data=b"".join(part.packets), received_s=part.end_s + 0.004)))
    return sorted(found, key=lambda part: part[1].received_s or 0.0)


def pieces(came: list[tuple[str, Chunk]]) -> list[tuple[str, Chunk]]:
    """The same as it is read live."""
    found = []
    for port, chunk in came:
        for k in range(LIVE_PIECES):
            data = chunk.data[k * len(chunk.data) // LIVE_PIECES : (k + 1) * len(chunk.data) // LIVE_PIECES]
            received_s = (chunk.received_s or 0.0) - (LIVE_PIECES - 1 - k) * LIVE_PIECE_S
            found.append((port, Chunk(data=data, received_s=received_s)))
    return sorted(found, key=lambda piece: piece[1].received_s or 0.0)


def layout_of(boards: int) -> str:
    return demo_layout_text(PORTS[:boards])


def sifted_s(layout: Layout, data: bytes) -> float:
    """Processor seconds of one stream in large chunks."""
    pipeline, began_s = Pipeline(layout), time.process_time()
    for at in range(0, len(data), CHUNK_BYTES):
        pipeline.feed("capture", Chunk(data=data[at : at + CHUNK_BYTES]))
    pipeline.finish("capture")
    return time.process_time() - began_s


def live_s(boards: int, came: list[tuple[str, Chunk]]) -> tuple[float, float]:
    """Processor seconds of the pipeline, and of pipeline and recorder."""
    pipeline, steps = Pipeline(msgspec.toml.decode(layout_of(boards), type=Layout)), []
    began_s = time.process_time()
    for port, chunk in came:
        steps.append(pipeline.feed(port, chunk))
    alone_s = time.process_time() - began_s
    with tempfile.TemporaryDirectory() as folder:
        recorder = Recorder(Path(folder), layout_of(boards), began_at=BEGAN_AT, reserve_bytes=0)
        for step in steps:
            recorder.put(step)
        recorder.close()
    return alone_s, time.process_time() - began_s


def of_captures(folder: Path) -> Iterator[tuple[float, float]]:
    """Seconds of each capture of a folder, and processor seconds to sift it."""
    for path in sorted(folder.glob("*.wire")):
        layout, began_s = load_layout(path.with_suffix(".layout.toml")), time.process_time()
        summary = sift_capture(path, layout).summary
        yield (summary.duration_s if summary else 0.0), time.process_time() - began_s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--folder", type=Path, help="captures with layout files: sifted in this process, too")
    args = parser.parse_args()
    for boards in (1, len(PORTS)):
        came = parts(boards, args.seconds)
        data = b"".join(chunk.data for _, chunk in came)
        layout = msgspec.toml.decode(layout_of(boards), type=Layout)
        took_s = min(sifted_s(layout, data) for _ in range(3))
        began_s = time.process_time()
        packed_floor(data, CHUNK_BYTES)
        floor_s = time.process_time() - began_s
        print(
            f"{4 * boards} outputs: sift {args.seconds / took_s:.0f} times real time (floor {args.seconds / floor_s:.0f})",
            flush=True,
        )
        came = pieces(came)
        alone_s, recorded_s = live_s(boards, came)
        print(
            f"{4 * boards} outputs: live, {len(came) / boards / args.seconds:.0f} pieces a second, "
            f"{alone_s / args.seconds:.1%} of a core, with the recorder {recorded_s / args.seconds:.1%}",
            flush=True,
        )
    if args.folder is not None:
        spans_s, took = zip(*of_captures(args.folder), strict=True)
        print(f"{len(took)} captures, start-up not included: {sum(spans_s) / sum(took):.0f} times real time")


if __name__ == "__main__":
    main()
