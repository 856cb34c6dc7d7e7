"""The page beside a running watch.

``monitor`` never imports ``dashboard``: pages look at the monitor, not the other way. The command line, which puts the program
together, is the one place that looks the pages up by name when it runs, and only for commands that show a page.
"""

import importlib
from typing import Protocol, cast

from monitor.app import Watch

PAGES = "dashboard.app"


class Page(Protocol):
    """A page server; see ``dashboard.app.PageServer``."""

    address: str

    def start(self) -> None:
        """Begin to answer, in a thread of its own."""

    def close(self) -> None:
        """Stop answering."""


def make_page(watch: Watch, host: str, port: int) -> Page:
    """A page server over the watch, its port taken already.

    Raises:
        PageError: The port is taken or may not be used.
    """
    return cast("Page", importlib.import_module(PAGES).PageServer(watch, host, port))
