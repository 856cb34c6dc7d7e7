"""``pilotlamp unpack``: a packed session as a folder again."""

import argparse
from pathlib import Path

from monitor.cli.plain_output import Progress
from monitor.errors import SessionError
from monitor.sessions.pack import unpack


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a packed session (NAME.session.zip)")
    parser.add_argument("--recordings", type=Path, default=Path("recordings"), metavar="DIR", help="where sessions are kept")


def run(args: argparse.Namespace) -> int:
    """Unpack and say where."""
    if not args.file.is_file():
        raise SessionError(f"{args.file}: there is no such file: check the name")
    with Progress("unpacking", args.file.stat().st_size) as progress:
        session = unpack(args.file, args.recordings, progress.reached)
    print(f"{session.path}: unpacked, every file is as it was written.")
    return 0
