"""The page beside a running watch.

``monitor`` never imports ``dashboard``: pages look at the monitor, not the other way. The command line, which puts the program
together, is the one place that looks the pages up by name when it runs, and only for commands that show a page.
"""

import importlib
from pathlib import Path
from typing import Protocol, cast

from monitor.app import Watch

PAGES = "dashboard.app"
PASSPHRASES = "dashboard.passphrase"


class Page(Protocol):
    """A page server; see ``dashboard.app.PageServer``."""

    address: str

    def invitation(self) -> str:
        """A link that lets one device act, once."""

    def start(self) -> None:
        """Begin to answer, in a thread of its own."""

    def close(self) -> None:
        """Stop answering."""


class KeptPassphrase(Protocol):
    """A passphrase's hash in a file; see ``dashboard.passphrase.Passphrase``."""

    path: Path

    def keep(self, text: str) -> None:
        """Set it."""


def kept_passphrase(path: Path | None) -> KeptPassphrase:
    """The passphrase for acting from other devices, in this file or the user's own."""
    room = importlib.import_module(PASSPHRASES)
    return cast("KeptPassphrase", room.Passphrase(path or room.default_path()))


def make_page(watch: Watch, host: str, port: int, *, shared: bool = False, passphrase_file: Path | None = None) -> Page:
    """A page server over the watch, its port taken already.

    Args:
        watch: What the pages look at.
        host: Where to listen where it is not shared.
        port: Where to listen.
        shared: Whether the local network may look.
        passphrase_file: What lets it act; the user's own when None.

    Raises:
        PageError: The port is taken or may not be used.
    """
    server = importlib.import_module(PAGES).PageServer
    return cast("Page", server(watch, host, port, shared=shared, passphrase_file=passphrase_file))
