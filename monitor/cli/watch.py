"""``pilotlamp watch``: watches the layout, shows the page, records the session."""

import argparse
import contextlib
import threading
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.app import Watch, WatchOptions, with_ports
from monitor.cli.bounded import bounded
from monitor.cli.broker_options import add_broker, add_station
from monitor.cli.log_file import configure_log, logging_to
from monitor.cli.page import configure_page, shown_page_process
from monitor.cli.page_process import PageProcess
from monitor.cli.running import LAYOUT_CHANGED, Tally, print_or_go_on, run_until, run_watch
from monitor.cli.setup_desk import Desk, IdleWatch
from monitor.cli.terminal import TerminalLines
from monitor.errors import LayoutError
from monitor.layout import Layout, load_layout
from monitor.layout.check import check_isolation
from monitor.layout.load import read_text
from monitor.link import HostClock
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import SessionOptions
from monitor.sessions.recovery import recover_all
from monitor.setup.draft import check_folder

if TYPE_CHECKING:
    from monitor.bus.publish import Publisher

DEFAULT_LAYOUT = Path("layout.toml")
NOTHING_READ = 3
"""Exit code of a headless watch to which no board sent anything."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    words = f"the layout file; without one {DEFAULT_LAYOUT} of this folder, which is set up on the page where it is not there"
    parser.add_argument("layout", type=Path, nargs="?", metavar="LAYOUT.toml", help=words)
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
    parser.add_argument(
        "--seconds", type=bounded(1e-9, 1e9, "number of seconds above 0"), metavar="N", help="end after N seconds"
    )


def run(args: argparse.Namespace) -> int:
    """Watch until a signal or until the time is up; without a layout file, set one up on the page first."""
    path: Path = args.layout or DEFAULT_LAYOUT
    if args.layout is not None or path.exists():
        return _watch_file(path, _checked(load_layout(path), path, args), args)
    if args.headless or args.no_page:
        raise LayoutError("there is no layout file, and without a page none can be set up: give its name", source=str(path))
    return _watch_file(path, None, args)


def watch_layout(
    layout: Layout,
    args: argparse.Namespace,
    *,
    layout_text: str,
    invented: bool = False,
    speed: float = 1.0,
) -> int:
    """Watch a layout as the arguments of :func:`configure_watching` say; what is invented is marked so, at any speed.

    Returns:
        0, or :data:`NOTHING_READ`.
    """
    with logging_to(args.log), contextlib.ExitStack() as pages:
        watching = Watching(args, pages, invented=invented, speed=speed)
        watching.watch(layout, layout_text)
        return watching.code


def _watch_file(path: Path, layout: Layout | None, args: argparse.Namespace) -> int:
    """Watch by a file, and by what becomes of it."""
    desk = Desk(path, layout)
    with logging_to(args.log), contextlib.closing(desk), contextlib.ExitStack() as pages:
        watching = Watching(args, pages, desk=desk)
        if layout is None:
            check_folder(path)  # refused before anything is typed
            watching.show(IdleWatch(path, None if args.no_record else args.recordings))
            print_or_go_on(f"No layout is set up yet: do it on the page. It will be written to {path.resolve()}; Ctrl-C ends.")
            with desk.listening():
                layout = desk.changed if run_until(lambda: desk.changed is not None, args.seconds) else None
        while layout is not None:
            desk.watched(layout)
            reason = watching.watch(_checked(layout, desk.path, args), read_text(desk.path))
            layout = desk.changed if reason == LAYOUT_CHANGED else None
        return watching.code


def _checked(layout: Layout, path: Path, args: argparse.Namespace) -> Layout:
    layout = with_ports(layout, dict(args.port))
    check_isolation(layout, source=str(path))
    return layout


class Watching:
    """One watch after the other, on the same page.

    Args:
        args: The arguments of :func:`configure_watching`.
        pages: Closes the page at the end.
        desk: Where the layout is changed; None where it cannot be.
        invented: See :func:`watch_layout`; likewise speed.

    Attributes:
        code: Exit code of the last watch.
    """

    def __init__(
        self,
        args: argparse.Namespace,
        pages: contextlib.ExitStack,
        *,
        desk: Desk | None = None,
        invented: bool = False,
        speed: float = 1.0,
    ) -> None:
        args.no_page |= args.headless
        self._args, self._pages, self._desk = args, pages, desk
        self._invented, self._speed = invented, speed
        self._page: PageProcess | None = None
        self.code = 0

    def show(self, watch: Watch | IdleWatch) -> None:
        """Show a watch on the page."""
        if self._page is None:
            self._page = self._pages.enter_context(shown_page_process(watch, self._args, self._desk))
        else:
            self._page.follow(watch)

    def watch(self, layout: Layout, layout_text: str) -> str:
        """Watch until a signal, until the time is up, or until the layout changes.

        Returns:
            Which of them; see :func:`run_watch`.
        """
        args, clock = self._args, HostClock(self._speed)
        lines, tally = TerminalLines(clock), Tally(layout)
        with _publishing(layout, args, clock) as publisher:
            sinks = [lines.take, *([tally.take] if args.headless else []), *([] if publisher is None else [publisher.take])]
            sinks += [] if self._desk is None else [self._desk.take]
            path = getattr(args, "layout", None) if self._desk is None else self._desk.path
            options = WatchOptions(sinks=tuple(sinks), layout_path=path, recordings=args.recordings)
            if getattr(args, "viewed", None) is not None:
                options = replace(options, viewed=args.viewed)
            if publisher is not None:
                lines.hall = publisher.status_words
                options = replace(options, troubles=publisher.troubles)
            watch = Watch(layout, options, clock=clock)
            lines.standing = watch.live.standing
            if publisher is not None:
                publisher.look = watch.live.standing
            self.show(watch)
            # After the page: where its port is taken, no empty session is left behind.
            self._record(watch, layout_text)
            reason = run_watch(
                watch, lines, args.seconds, until=lambda: self._desk is not None and self._desk.changed is not None
            )
        if args.headless:
            print_or_go_on(tally.json_line(watch.statuses()))
            self.code = 0 if tally.anything_read else NOTHING_READ
        return reason

    def _record(self, watch: Watch, layout_text: str) -> None:
        if not self._args.no_record:
            ports = {board.name: board.port for board in watch.layout.board if board.port is not None}
            options = SessionOptions(
                ports=ports,
                invented=self._invented or (self._desk is not None and self._desk.is_rehearsal),
                readable=self._args.readable,
            )
            watch.keep(_recorder(self._args.recordings, layout_text, watch.clock, options))
        print_or_go_on(f"Watching {watch.layout.title}; Ctrl-C ends it.")
        if not self._args.no_record:
            print_or_go_on(f"Recording into {self._args.recordings.resolve()}.")


def _publishing(layout: Layout, args: argparse.Namespace, clock: HostClock) -> "AbstractContextManager[Publisher | None]":
    if getattr(args, "broker", None) is None:
        return nullcontext()
    from monitor.cli.publishing import publishing  # noqa: PLC0415 - start-up time of a watch without a broker

    return publishing(layout, args, clock)


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
