"""``pilotlamp demo``: the Fernhollow show on a rehearsal board, through a port to the very link that reads real boards."""

import argparse

from monitor.cli.watch import configure_watching, watch_layout
from monitor.layout import parse_layout
from monitor.rehearsal import RehearsalBoard, demo_layout_text, fernhollow_show

SPEED_LIMIT = 4.0
"""A port and a page keep up with this many times real time."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    configure_watching(parser)
    # --seconds counts seconds of the show.
    parser.add_argument(
        "--speed", type=_speed, default=1.0, metavar="X", help=f"so many times real time, up to {SPEED_LIMIT:g} (default 1)"
    )


def run(args: argparse.Namespace) -> int:
    """Start the board, watch it, stop it."""
    board = RehearsalBoard(fernhollow_show(), speed=args.speed)
    try:
        print("A rehearsal: everything that follows is a model, not your bench.", flush=True)
        text = demo_layout_text(board.port)
        board.start()
        layout = parse_layout(text, source="the demo's layout")
        return watch_layout(layout, args, layout_text=text, invented=True, speed=args.speed)
    finally:
        board.stop()


def _speed(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.1 <= value <= SPEED_LIMIT:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed: give a number from 0.1 to {SPEED_LIMIT:g}")
    return value
