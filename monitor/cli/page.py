"""The page beside a running watch.

``monitor`` never imports ``dashboard``: pages look at the monitor, not the other way. The command line, which puts the program
together, is the one place that looks the pages up by name when it runs, and only for commands that show a page.
"""

import argparse
import contextlib
import importlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, cast

from monitor.app import Watch
from monitor.cli.login_link import invitation_lines, open_browser, own_link_lines
from monitor.cli.page_process import PAGES, WEB_HOST, LiveWatch, PageOrder, PageProcess
from monitor.runtime.mirror import SetupDesk

if TYPE_CHECKING:
    from monitor.bus.hall_listener import HallListener

WEB_PORT = 8620
HALL_PAGES = "dashboard.hall.app"


class ServedPage(Protocol):
    """A page server; see ``dashboard.app.PageServer``."""

    address: str
    fingerprint: str | None
    certificate_ends_at: datetime | None

    def invitation(self, *, here: bool = False) -> str:
        """A link that lets one device act, once; whether that is this computer."""

    def start(self) -> None:
        """Begin to answer, in a thread of its own."""

    def close(self) -> None:
        """Stop answering."""


def configure_page(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of every command that shows a page on which somebody acts, or no page."""
    configure_looking(parser)
    parser.add_argument("--passphrase-file", type=Path, metavar="FILE", help="as set by 'pilotlamp passphrase --file FILE'")
    parser.add_argument("--no-page", action="store_true", help="serve no page")
    parser.add_argument("--no-browser", action="store_true", help="do not open the page in the browser")


def configure_looking(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of every command that shows a page."""
    parser.set_defaults(passphrase_file=None)
    parser.add_argument("--web-port", type=_port_number, default=WEB_PORT, metavar="N", help="the page's port (%(default)s)")
    parser.add_argument(
        "--share", action="store_true", help="let the local network look; acting needs the passphrase or the link"
    )
    parser.add_argument(
        "--tls", action="store_true", help="encrypt the page, with a certificate of its own unless --cert is given"
    )
    parser.add_argument("--cert", type=Path, metavar="PEM", help="encrypt the page with this certificate")
    parser.add_argument("--key", type=Path, metavar="PEM", help="the certificate's key, where it is not in the same file")


@contextlib.contextmanager
def shown_page(watch: Watch, args: argparse.Namespace) -> Iterator[None]:
    """Serve the page, as the arguments of :func:`configure_page` say, and print where it is.

    Raises:
        PageError: The port is taken or may not be used, or the certificate is of no use.
    """
    if args.no_page:
        yield
        return
    with _shown(opened_page(watch, args)) as page:
        _print_links(page, args)
        yield


@contextlib.contextmanager
def shown_page_process(watch: LiveWatch, args: argparse.Namespace, desk: SetupDesk | None = None) -> Iterator[PageProcess | None]:
    """The same from a process of its own, for a watch that is about to start: whatever is looked at, watching goes on.

    Raises:
        PageError: As above.
    """
    if args.no_page:
        yield None
        return
    page = PageProcess(watch, PageOrder.of(args), desk)
    with _shown(page):
        _print_links(page, args)
        yield page


def opened_page(watch: Watch, args: argparse.Namespace) -> ServedPage:
    """A page server, its port taken already; see :func:`shown_page`."""
    room = importlib.import_module(PAGES)
    order = PageOrder.of(args)
    return cast("ServedPage", room.PageServer(watch, WEB_HOST, order.port, order.options()))


@contextlib.contextmanager
def shown_hall(hall: "HallListener", title: str, args: argparse.Namespace) -> Iterator[None]:
    """Serve the pages of a hall likewise; there is no acting from there.

    Raises:
        PageError: As above.
    """
    room = importlib.import_module(HALL_PAGES)
    with _shown(cast("ServedPage", room.hall_server(hall, title, WEB_HOST, args.web_port, PageOrder.of(args).options()))):
        yield


@contextlib.contextmanager
def _shown(page: ServedPage) -> Iterator[ServedPage]:
    page.start()
    try:
        print(f"The page is at {page.address}", flush=True)
        if page.fingerprint is not None:
            print(
                f"Encrypted; browsers should show this fingerprint (SHA-256) of its certificate:\n  {page.fingerprint}",
                flush=True,
            )
        yield page
    finally:
        page.close()


def _print_links(page: ServedPage, args: argparse.Namespace) -> None:
    link = page.invitation(here=True)
    print(own_link_lines(link, opens=not args.no_browser and open_browser(link)), flush=True)
    if args.share:
        print(invitation_lines(page.invitation(), encrypted=page.fingerprint is not None), flush=True)


def _port_number(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port number: take one from 1024 to 65535")
    return int(text)
