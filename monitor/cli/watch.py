"""``pilotlamp watch``: watches the layout, shows the page, records the session."""

import argparse
import threading
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.app import Watch, WatchOptions, with_ports
from monitor.cli.broker_options import add_broker, add_station
from monitor.cli.log_file import configure_log, logging_to
from monitor.cli.page import configure_page, shown_page_process
from monitor.cli.running import Tally, print_or_go_on, run_watch
from monitor.cli.terminal import TerminalLines
from monitor.layout import Layout, load_layout
from monitor.layout.check import check_isolation
from monitor.link import HostClock
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import SessionOptions
from monitor.sessions.recovery import recover_all

if TYPE_CHECKING:
    from monitor.bus.publish import Publisher

NOTHING_READ = 3
"""Exit code of a headless watch to which no board ever said anything."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", help="the layout file")
    parser.add_argument(
        "--port",
        action="append",
        default=[],
        type=_board_port,
        metavar="BOARD=DEVICE",
        help="read a board at another port than the layout file says; may be given again for other boards",
    )
    configure_watching(parser)
    add_broker(parser, required=False)
    add_station(parser)


def configure_watching(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that every command that watches has."""
    keep = parser.add_mutually_exclusive_group()
    keep.add_argument("--recordings", type=Path, default=Path("recordings"), metavar="DIR", help="where sessions are kept")
    keep.add_argument("--no-record", action="store_true", help="keep nothing")
    parser.add_argument(
        "--readable", action="store_true", help="let other users of this computer read the recordings; without it only you may"
    )
    configure_page(parser)
    configure_log(parser)
    parser.add_argument("--headless", action="store_true", help="for scripts: no page, and a summary as one JSON line at the end")
    parser.add_argument("--seconds", type=_seconds, metavar="N", help="end after N seconds")


def run(args: argparse.Namespace) -> int:
    """Watch until a signal or until the time is up."""
    layout = with_ports(load_layout(args.layout), dict(args.port))
    check_isolation(layout, source=str(args.layout))
    return watch_layout(layout, args, layout_text=args.layout.read_text(encoding="utf-8"))


def watch_layout(
    layout: Layout, args: argparse.Namespace, *, layout_text: str, invented: bool = False, speed: float = 1.0
) -> int:
    """Watch a layout as the arguments of :func:`configure_watching` say.

    Args:
        layout: What is watched, its boards at their ports.
        args: The arguments.
        layout_text: The layout file's text, kept with the session.
        invented: True for demonstrations: their sessions are marked as such.
        speed: How fast time runs; other than 1 in demonstrations only.

    Returns:
        0, or :data:`NOTHING_READ`.
    """
    clock = HostClock(speed)
    lines, tally = TerminalLines(clock), Tally(layout)
    with logging_to(args.log), _publishing(layout, args, clock) as publisher:
        sinks = [lines.take, *([tally.take] if args.headless else []), *([] if publisher is None else [publisher.take])]
        options = WatchOptions(sinks=tuple(sinks), layout_path=getattr(args, "layout", None), recordings=args.recordings)
        if publisher is not None:
            lines.hall = publisher.said
            options = replace(options, troubles=publisher.troubles)
        watch = Watch(layout, options, clock=clock)
        if publisher is not None:
            publisher.look = watch.live.standing
        _watch(watch, lines, args, layout_text, invented=invented)
    if not args.headless:
        return 0
    print_or_go_on(tally.json_line(watch.statuses()))
    return 0 if tally.anything_read else NOTHING_READ


def _publishing(layout: Layout, args: argparse.Namespace, clock: HostClock) -> "AbstractContextManager[Publisher | None]":
    if getattr(args, "broker", None) is None:
        return nullcontext()
    from monitor.cli.publishing import publishing  # noqa: PLC0415 - start-up time of a watch without a broker

    return publishing(layout, args, clock)


def _watch(watch: Watch, lines: TerminalLines, args: argparse.Namespace, layout_text: str, *, invented: bool) -> None:
    args.no_page |= args.headless
    with shown_page_process(watch, args):
        # After the page: where its port is taken, no empty session is left behind.
        if not args.no_record:
            ports = {board.name: board.port for board in watch.layout.board if board.port is not None}
            options = SessionOptions(ports=ports, invented=invented, readable=args.readable)
            watch.keep(_recorder(args.recordings, layout_text, watch.clock, options))
        print_or_go_on(f"Watching {watch.layout.title}; Ctrl-C ends it.")
        if not args.no_record:
            print_or_go_on(f"Recording into {args.recordings.resolve()}.")
        run_watch(watch, lines, args.seconds)


def _recorder(recordings: Path, layout_text: str, clock: HostClock, options: SessionOptions) -> Recorder:
    """The recorder of a new session; sessions that were cut off are put in order meanwhile."""
    recorder = Recorder(recordings, layout_text, began_at=clock.began_at, options=options)
    threading.Thread(target=recover_all, args=(recordings,), name="recovery", daemon=True).start()
    return recorder


def _board_port(text: str) -> tuple[str, str]:
    board, equals, device = text.partition("=")
    if not (board and equals and device):
        raise argparse.ArgumentTypeError(f"{text!r} is not of the form BOARD=DEVICE, as in bench-1=/dev/ttyUSB0")
    return board, device


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value < 1e9:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of seconds above 0")
    return value
