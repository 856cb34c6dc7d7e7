"""``pilotlamp phase``: how to phase several supplies with a meter, and what a reading means."""

import argparse
from pathlib import Path

from monitor.layout import load_layout
from monitor.planning.phasing_guide import CAUTIONS, MEANINGS, guide, judge_reading


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument(
        "--reading",
        type=float,
        nargs=3,
        metavar=("VOLTS", "OTHER", "BETWEEN"),
        help="judge a reading: the two supplies' volts and what the meter shows between their hots",
    )


def run(args: argparse.Namespace) -> int:
    """Print the walk, or what a reading means."""
    layout = load_layout(args.layout)
    if args.reading is None:
        print(guide(layout), end="")
        return 0
    for caution in CAUTIONS[:3]:
        print(f"! {caution}")
    print(MEANINGS[judge_reading(*args.reading)])
    return 0
