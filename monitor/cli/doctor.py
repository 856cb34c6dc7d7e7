"""``pilotlamp doctor``: can this computer do the job, and if not, what to do?"""

import argparse
from pathlib import Path

from monitor.app import port_source
from monitor.cli.page import configure_looking
from monitor.cli.page_trial import try_page
from monitor.layout import Board, load_layout
from monitor.link import HostClock
from monitor.link.listen import Heard, PortListener
from monitor.runtime.checkup import check_computer

LISTEN_S = 3.0
"""Long enough for two identities, which come once a second."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, nargs="?", metavar="LAYOUT.toml", help="look at its boards' ports too")
    parser.add_argument("--recordings", type=Path, default=Path("recordings"), metavar="DIR", help="where sessions are kept")
    configure_looking(parser)


def run(args: argparse.Namespace) -> int:
    """Print each check; 1 where something needs doing."""
    layout = None if args.layout is None else load_layout(args.layout)
    if layout is not None and layout.board:
        print(f"Listening {LISTEN_S:g} s at each port ...", flush=True)

    def hear(board: Board) -> Heard:
        clock = HostClock()
        source = port_source(board.port or "", board.baud, clock)
        source.open()
        try:
            line_board = layout.line_board(board.port or "") if layout else None
            return PortListener(source, clock.now_s, board.baud, line_board).hear(LISTEN_S)
        finally:
            source.close()

    checks = []
    for check in (*check_computer(args.recordings, layout, hear), *try_page(args, layout)):
        checks.append(check)
        print(f"{'good' if check.good else 'LOOK':6}{check.name:26}{check.found}")
        if check.remedy:
            print(f"{'':32}{check.remedy}")
    return 0 if all(check.good for check in checks) else 1
