"""The pages of a running watch, served by a process of their own; it is started again where it ends."""

import argparse
import contextlib
import importlib
import logging
import multiprocessing
import os
import signal
import sys
import threading
import time
from dataclasses import dataclass, replace
from datetime import datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol

from monitor.cli.login_link import own_link_lines
from monitor.cli.running import print_or_go_on
from monitor.errors import PageError
from monitor.runtime.mirror import STATE_EVERY_S, LogLine, MirroredWatch, MirrorSeed, MirrorSender, SetupDesk, Watched
from monitor.runtime.supervision import SupervisedThread
from monitor.runtime.worker import Sink

WEB_HOST = "127.0.0.1"
PAGES, SERVER = "dashboard.app", "dashboard.server"
NICENESS = 5
"""Behind the watch wherever both want the processor."""
SWITCHES_AFTER_S = 0.0005
"""A thread gives way to another one here ten times as soon as usual: an answer to this computer waits for few of visitors' pages."""
OPENS_WITHIN_S = 120.0
ENDS_WITHIN_S = 12.0
NOT_STARTED = "the page's process did not start: close other programs to free memory and try again, or watch with --no-page"
_log = logging.getLogger(__name__)


class LiveWatch(Watched, Protocol):
    """A watch that hands on its steps."""

    def add_sink(self, sink: Sink) -> None:
        """Hand each step to one more taker; before it starts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOrder:
    """What page is wanted.

    Attributes:
        port: Where to listen; 0 takes a free one.
        chosen: The fields of ``dashboard.server.PageOptions``, which only the page's process loads.
    """

    port: int
    chosen: dict[str, Path | bool | None]

    @classmethod
    def of(cls, args: argparse.Namespace) -> "PageOrder":
        """As the arguments of a command say."""
        files = {"passphrase_file": args.passphrase_file, "certificate": args.cert, "key": args.key}
        return cls(
            port=args.web_port,
            chosen={"shared": args.share, "own_certificate": args.tls, "guided": getattr(args, "guided", False), **files},
        )

    def options(self) -> Any:  # noqa: ANN401 - of a room that is looked up by name
        """As the page's server takes them."""
        return importlib.import_module(SERVER).PageOptions(**self.chosen)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedPage:
    """Where the page is."""

    address: str
    port: int
    fingerprint: str | None
    certificate_ends_at: datetime | None
    links: tuple[str, str]
    """That let one device act, once: this computer, and another device."""


class PageProcess:
    """A served page, see ``monitor.cli.page.ServedPage``; its port is taken when this is made.

    Args:
        watch: What the pages look at; not started yet.
        order: What page is wanted.
        desk: Where the layout is set up; None where it cannot be.

    Attributes:
        address: What to type into a browser.
        fingerprint: Of the certificate; None where nothing is encrypted.
        certificate_ends_at: When browsers begin to refuse it; None likewise.

    Raises:
        PageError: The port is taken or may not be opened, or the certificate is of no use.
    """

    def __init__(self, watch: LiveWatch, order: PageOrder, desk: SetupDesk | None = None) -> None:
        self._sender = MirrorSender(watch, desk)
        self._order = order
        self._process, self._connection, opened = _opened(self._sender.seed(), order)
        self._order = replace(order, port=opened.port)
        self.address = opened.address
        self.fingerprint, self.certificate_ends_at = opened.fingerprint, opened.certificate_ends_at
        self._links = opened.links
        self._thread = SupervisedThread("page", self._work)
        watch.add_sink(self._sender.take)

    def follow(self, watch: LiveWatch) -> None:
        """Show another watch from now on; before it starts. Devices that may act still may."""
        self._sender.follow(watch)
        watch.add_sink(self._sender.take)

    def invitation(self, *, here: bool = False) -> str:
        """A link that lets one device act, once; whether that is this computer."""
        return self._links[0 if here else 1]

    def start(self) -> None:
        """Begin to show what is watched."""
        self._thread.start()

    def close(self) -> None:
        """Stop answering."""
        self._thread.ask_to_stop()
        self._thread.join(ENDS_WITHIN_S)
        _end(self._process, self._connection)

    def _work(self, stop: threading.Event) -> None:
        state_at_s = 0.0
        while not stop.is_set():
            try:
                self._sender.send(self._connection, STATE_EVERY_S)
                if time.monotonic() - state_at_s >= STATE_EVERY_S:
                    state_at_s = time.monotonic()
                    self._sender.send_state(self._connection)
            except (OSError, EOFError):
                if not stop.is_set():
                    self._begin_again()

    def _begin_again(self) -> None:
        _log.error(
            "the page's process ended (%s) and is started again; devices that may act have to enter again",
            self._process.exitcode,
        )
        _end(self._process, self._connection)
        time.sleep(1.0)
        self._process, self._connection, opened = _opened(self._sender.seed(), self._order)
        self._links = opened.links
        print_or_go_on(f"The page was started again. {own_link_lines(self.invitation(here=True), opens=False)}")


def _opened(seed: MirrorSeed, order: PageOrder) -> tuple[multiprocessing.process.BaseProcess, Connection, OpenedPage]:
    """Start the process and wait until it says where the page is.

    Raises:
        PageError: As it says.
    """
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, seed, order), name="pilotlamp pages")
    process.start()
    theirs.close()
    try:
        reply = ours.recv() if ours.poll(OPENS_WITHIN_S) else None
    except EOFError:
        reply = None
    if isinstance(reply, OpenedPage):
        return process, ours, reply
    _end(process, ours)
    raise PageError(reply if isinstance(reply, str) else NOT_STARTED)


def _end(process: multiprocessing.process.BaseProcess, connection: Connection) -> None:
    """It ends by itself when nothing more comes; where it does not, it is ended."""
    with contextlib.suppress(OSError):
        connection.close()
    process.join(ENDS_WITHIN_S)
    if process.is_alive():
        process.kill()
        process.join(ENDS_WITHIN_S)


def _serve(connection: Connection, seed: MirrorSeed, order: PageOrder) -> None:
    """The process of the pages, until the watch is gone."""
    # Ctrl-C and a closed terminal are the watch's business: it ends the pages after it has ended itself.
    for name in ("SIGINT", "SIGHUP", "SIGTERM"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    sys.setswitchinterval(SWITCHES_AFTER_S)
    watch = MirroredWatch(seed, connection)
    logging.getLogger().addHandler(_ToWatch(watch))
    try:
        page = importlib.import_module(PAGES).PageServer(watch, WEB_HOST, order.port, order.options())
    except PageError as error:
        connection.send(str(error))
        return
    opened = OpenedPage(
        address=page.address,
        port=page.port,
        fingerprint=page.fingerprint,
        certificate_ends_at=page.certificate_ends_at,
        links=(page.invitation(here=True), page.invitation()),
    )
    page.start()
    connection.send(opened)
    while (other := watch.run()) is not None:
        watch = other
        page.renew(other)
    page.close()


class _ToWatch(logging.Handler):
    """Hands what is logged to the watch: one process writes the log file."""

    def __init__(self, watch: MirroredWatch) -> None:
        super().__init__(logging.WARNING)
        self._watch = watch

    def emit(self, record: logging.LogRecord) -> None:
        with contextlib.suppress(OSError):
            self._watch.tell(LogLine(name=record.name, level=record.levelno, text=self.format(record)))
