"""``pilotlamp service``: prints a unit for systemd that starts a watch with the computer and keeps it going."""

import argparse
import contextlib
import getpass
import os
import shutil
import socket
import stat
import sys
from importlib import resources
from pathlib import Path

from monitor.errors import LayoutError
from monitor.layout import load_layout

UNIT = "pilotlamp.service"
USUAL_GROUP = "dialout"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", help="what to watch; recordings and log go beside it")
    parser.add_argument("--user", default=getpass.getuser(), metavar="NAME", help="who runs it (%(default)s)")
    parser.add_argument("--share", action="store_true", help="let the local network look")
    parser.add_argument("--tls", action="store_true", help="encrypt the page")


def run(args: argparse.Namespace) -> int:
    """Print the unit."""
    layout = load_layout(args.layout)
    more = [word for word, wanted in (("--share", args.share), ("--tls", args.tls)) if wanted]
    print(unit_text(args.layout, [board.port or "" for board in layout.board], user=args.user, more=more), end="")
    return 0


def unit_text(layout: Path, ports: list[str], *, user: str, more: list[str]) -> str:
    """The unit.

    Raises:
        LayoutError: The layout file is at a place that no unit can name.
    """
    path = layout.absolute()
    home = Path(os.path.expanduser(f"~{user}"))  # noqa: PTH111 - Path.expanduser raises where there is no such user
    fields = {
        "program": _program(),
        "layout": _word(path),
        "folder": _word(path.parent),
        "settings": _word(home / ".config" / "pilotlamp"),
        "user": user,
        "group": _group_of(ports),
        "more": "".join(f" {word}" for word in more),
    }
    text = resources.files("monitor.cli").joinpath(UNIT).read_text(encoding="utf-8")
    return text.format(**fields)


def _program() -> str:
    beside = Path(sys.executable).with_name("pilotlamp")
    found = str(beside) if beside.exists() else shutil.which("pilotlamp")
    return _word(Path(found)) if found is not None else f"{_word(Path(sys.executable))} -m monitor"


def _word(path: Path) -> str:
    text = str(path)
    if any(character.isspace() or character in "\"'\\%$" for character in text):
        raise LayoutError(f"a service cannot be made of {text}: move it to a place without spaces or signs in its name")
    return text


def _group_of(ports: list[str]) -> str:
    """The group that may read the ports, where one of them is there to tell."""
    try:
        import grp  # noqa: PLC0415 - exists on POSIX only

        for port in map(Path, ports):
            if port.exists() and stat.S_ISCHR(port.stat().st_mode):
                return grp.getgrgid(port.stat().st_gid).gr_name
    except (ImportError, KeyError, OSError):
        pass
    return USUAL_GROUP


def tell_service_manager(state: str) -> None:
    """Tell it; without one, and on systems without such sockets, nothing happens.

    Args:
        state: As in sd_notify(3): ``READY=1``, ``WATCHDOG=1``, ``STOPPING=1``.
    """
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.settimeout(0)  # a manager that does not listen must not hold the watch up
        line.sendto(state.encode(), address)
