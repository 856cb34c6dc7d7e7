"""``pilotlamp pack``: a session as one file."""

import argparse
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.sessions import SessionFolder
from monitor.sessions.pack import pack


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("session", type=Path, metavar="SESSION", help="the session's folder")
    parser.add_argument("target", type=Path, nargs="?", default=Path(), metavar="FILE", help="the file to make, or its folder")


def run(args: argparse.Namespace) -> int:
    """Pack and say where."""
    total = sum(path.stat().st_size for path in args.session.rglob("*") if path.is_file()) if args.session.is_dir() else None
    with Progress("packing", total) as progress:
        path = pack(SessionFolder(args.session), args.target, progress.reached)
    print(f"{path}: {path.stat().st_size / 1e6:.1f} MB. 'pilotlamp unpack' makes a session of it again.")
    return 0
