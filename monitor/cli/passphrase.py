"""``pilotlamp passphrase``: sets what lets other devices act on a shared page."""

import argparse
import getpass
import importlib
import sys
from pathlib import Path

from monitor.errors import PageError


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--file", type=Path, metavar="FILE", help="keep its hash here instead of among the user's settings")


def run(args: argparse.Namespace) -> int:
    """Ask twice on a terminal, read one line otherwise; keep the hash."""
    room = importlib.import_module("dashboard.passphrase")  # by name, as in monitor.cli.page
    kept = room.Passphrase(args.file or room.default_path())
    kept.keep(_asked())
    print(f"Kept, as a hash, in {kept.path}.")
    return 0


def _asked() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("Passphrase: ")
    if getpass.getpass("Once more: ") != first:
        raise PageError("the two were not the same: run the command again")
    return first
