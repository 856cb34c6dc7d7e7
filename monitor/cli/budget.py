"""``pilotlamp budget``: what the loads draw against every limit, and the volts that arrive."""

import argparse
import datetime as dt
from pathlib import Path

from monitor.layout import load_layout
from monitor.planning.bench_check import check_all
from monitor.planning.budget import BudgetOptions, reckon
from monitor.planning.budget_words import budget_text
from monitor.planning.plan_file import changed_plan, load_plan
from monitor.planning.typical_draws import TYPICAL_DRAWS


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", nargs="?")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument("--drop", type=float, metavar="SHARE", help="volts that may be lost on the way (default 0.05)")
    parser.add_argument("--celsius", type=float, help="temperature of the feeders' copper (default 40)")
    parser.add_argument("--typical", action="store_true", help="print the table of typical draws instead")


def run(args: argparse.Namespace) -> int:
    """Print the budget."""
    if args.typical or args.layout is None:
        for draw in TYPICAL_DRAWS:
            print(
                f"{draw.name:44}{draw.low_amps:6.2f}-{draw.high_amps:.2f} A   starts at {draw.starting_factor:g} x   ({draw.source})"
            )
        return 0
    layout = load_layout(args.layout)
    plan = load_plan(args.layout, layout, args.plan)
    changes = {"drop_share": args.drop, "celsius": args.celsius}
    plan = changed_plan(plan, {key: value for key, value in changes.items() if value is not None})
    verdicts = check_all(layout, plan, today=dt.datetime.now().astimezone().date())
    print(budget_text(reckon(layout, BudgetOptions.of_plan(plan, verdicts), plan)), end="")
    return 0
