"""``pilotlamp budget``: what the loads draw against every limit, and the volts that arrive."""

import argparse
import json
import math
from collections.abc import Iterator
from pathlib import Path

from monitor.planning.budget import Budget, BudgetOptions, make_budget
from monitor.planning.budget_words import budget_text
from monitor.planning.plan_load import load_planned
from monitor.planning.planned_loads import TYPICAL_DRAWS


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", nargs="?")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument("--drop", type=float, metavar="SHARE", help="volts that may be lost on the way (default 0.05)")
    parser.add_argument("--celsius", type=float, help="temperature of the feeders' copper (default 40)")
    parser.add_argument("--json", action="store_true", help="print one JSON object a limit and a district, and nothing else")
    parser.add_argument("--typical", action="store_true", help="print the table of typical draws instead")


def run(args: argparse.Namespace) -> int:
    """Print the budget."""
    if args.typical or args.layout is None:
        for draw in TYPICAL_DRAWS:
            print(
                f"{draw.name:44}{draw.low_amps:6.2f}-{draw.high_amps:.2f} A   starts at {draw.starting_factor:g} x   ({draw.source})"
            )
        return 0
    planned = load_planned(args.layout, args.plan, {"drop_share": args.drop, "celsius": args.celsius})
    budget = make_budget(planned.layout, BudgetOptions.of_plan(planned.plan, planned.verdicts), planned.plan)
    if not args.json:
        print(budget_text(budget), end="")
        return 0
    for line in as_json(budget):
        print(json.dumps(line))
    return 0


def as_json(budget: Budget) -> Iterator[dict[str, object]]:
    """The machine-readable form: every limit, then what arrives at every district."""
    for entry in budget.entries:
        for limit in entry.limits:
            if limit.kind != "others":
                share = limit.share if math.isfinite(limit.share) else None
                of = f"{entry.kind} {entry.name}"
                yield {
                    "kind": "limit",
                    "of": of,
                    "limit": limit.kind,
                    "used_share": share,
                    "amps": limit.drawn,
                    "limit_amps": limit.allowed,
                }
    for entry in budget.entries:
        if entry.kind == "district":
            lost = entry.feeder.lost_volts if entry.feeder is not None else None
            arriving = entry.feeder.arriving_volts if entry.feeder is not None else None
            counted = entry.feeder is not None and entry.feeder.has_track
            yield {"kind": "arrives", "district": entry.name, "volts_lost": lost, "volts": arriving, "rails_counted": counted}
