"""``pilotlamp budget``: what the loads draw against every limit, and the volts that arrive."""

import argparse
from pathlib import Path

from monitor.layout import load_layout
from monitor.planning.budget import BudgetOptions, budget_text, reckon
from monitor.planning.typical_draws import TYPICAL_DRAWS


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", nargs="?")
    parser.add_argument("--drop", type=float, default=0.05, metavar="SHARE", help="volts that a feeder may lose (default 0.05)")
    parser.add_argument("--celsius", type=float, default=40.0, help="temperature of the feeders' copper (default 40)")
    parser.add_argument("--typical", action="store_true", help="print the table of typical draws instead")


def run(args: argparse.Namespace) -> int:
    """Print the budget."""
    if args.typical or args.layout is None:
        for draw in TYPICAL_DRAWS:
            print(
                f"{draw.name:44}{draw.low_amps:6.2f}-{draw.high_amps:.2f} A   starts at {draw.starting_factor:g} x   ({draw.source})"
            )
        return 0
    options = BudgetOptions(drop_share=args.drop, celsius=args.celsius)
    print(budget_text(reckon(load_layout(args.layout), options)), end="")
    return 0
