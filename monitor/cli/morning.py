"""``pilotlamp morning``: the show-morning list, to print and tick off."""

import argparse
import datetime as dt
from pathlib import Path

from monitor.layout import load_layout
from monitor.planning.bench_check import check_bench
from monitor.planning.budget import reckon
from monitor.planning.morning import morning_list


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument(
        "--trouble", action="append", default=[], metavar="TEXT", help="something that is still open from last time"
    )


def run(args: argparse.Namespace) -> int:
    """Print the list."""
    layout = load_layout(args.layout)
    year = dt.datetime.now().astimezone().year
    verdicts = [check_bench(supply, layout.mains, this_year=year) for supply in layout.supply]
    print(morning_list(layout, verdicts, reckon(layout), args.trouble), end="")
    return 0
