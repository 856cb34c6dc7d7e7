"""``pilotlamp morning``: the show-morning list, to print and tick off."""

import argparse
from pathlib import Path

from monitor.layout import load_layout
from monitor.planning.budget import BudgetOptions, make_budget
from monitor.planning.morning import morning_list, power_down_items
from monitor.planning.plan_load import load_planned
from monitor.runtime.past_troubles import past_troubles


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument(
        "--recordings",
        type=Path,
        default=Path("recordings"),
        metavar="DIR",
        help="where sessions are kept: their troubles come along",
    )
    parser.add_argument(
        "--trouble", action="append", default=[], metavar="TEXT", help="something else that is still open from last time"
    )

    parser.add_argument("--evening", action="store_true", help="print the power-down list instead")


def run(args: argparse.Namespace) -> int:
    """Print the list."""
    layout = load_layout(args.layout)
    if args.evening:
        print("\n".join([f"Power down: {layout.title}", "", *(f"[ ] {item}" for item in power_down_items(layout))]))
        return 0
    planned = load_planned(args.layout, args.plan)
    recorded, day = past_troubles(args.recordings, layout)
    budget = make_budget(layout, BudgetOptions.of_plan(planned.plan, planned.verdicts), planned.plan)
    print(morning_list(layout, planned.verdicts, budget, [*args.trouble, *recorded], day), end="")
    return 0
