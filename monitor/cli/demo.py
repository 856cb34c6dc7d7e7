"""``pilotlamp demo``: the Fernhollow show on a rehearsal board, through a port to the very link that reads real boards."""

import argparse
import tempfile
import threading
from pathlib import Path

from monitor.cli.bounded import bounded
from monitor.cli.watch import configure_watching, watch_layout
from monitor.layout import parse_layout
from monitor.rehearsal import RehearsalBoard, demo_layout_text, fernhollow_show

WHAT_COMES = """A rehearsal: everything that follows is a model, not your bench.
What will come, once somebody looks at the page (after a minute in any case):
  at half a minute   an overload on North bench, a warning, and its protection opens
  after that         power comes back; at a minute and a half a short circuit on Quarry branch
  all the while      trains lose contact at one bad place of Inner main: Stalls shows where
A strip on the page leads through it in five minutes."""
SPEED_LIMIT = 4.0
"""A port and a page keep up with this many times real time."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    configure_watching(parser)
    parser.set_defaults(guided=True)
    # --seconds counts seconds of the show.
    parser.add_argument(
        "--speed",
        type=bounded(0.1, SPEED_LIMIT, f"speed: give a number from 0.1 to {SPEED_LIMIT:g}"),
        default=1.0,
        metavar="X",
        help=f"so many times real time, up to {SPEED_LIMIT:g} (default 1)",
    )


def run(args: argparse.Namespace) -> int:
    """Start the board, watch it, stop it."""
    viewed = args.viewed = threading.Event()
    if args.headless or args.no_page:
        viewed.set()
    board = RehearsalBoard(fernhollow_show(may_begin=viewed.is_set), speed=args.speed)
    try:
        print(WHAT_COMES, flush=True)
        text = demo_layout_text(board.port)
        board.start()
        layout = parse_layout(text, source="the demo's layout")
        # A layout file that ends with the demo: bench checks, draws and candidates can be tried, and are kept nowhere else.
        with tempfile.TemporaryDirectory(prefix="pilotlamp-demo-") as folder:
            args.layout = Path(folder) / "fernhollow.toml"
            args.layout.write_text(text, encoding="utf-8")
            return watch_layout(layout, args, layout_text=text, invented=True, speed=args.speed)
    finally:
        board.stop()
