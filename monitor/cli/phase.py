"""``pilotlamp phase``: how to phase several supplies with a meter, and what a reading means."""

import argparse
import json
from pathlib import Path

from monitor.errors import LayoutError
from monitor.planning.phasing_guide import CAUTIONS, PhaseReading, ac_supplies, guide, meaning, phase_verdict, verdict_record
from monitor.planning.plan_load import load_planned


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--pair", nargs=2, default=(), metavar=("SUPPLY", "OTHER"), help="which two supplies were measured")
    parser.add_argument(
        "--reading",
        type=float,
        nargs=3,
        action="append",
        metavar=("OWN", "OTHER", "BETWEEN"),
        help="judge a reading: each supply's own volts, then what the meter shows between their hot posts; once for each round",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object; with --reading")


def run(args: argparse.Namespace) -> int:
    """Print the walk, or what a reading means."""
    planned = load_planned(args.layout)
    layout, plan, verdicts = planned.layout, planned.plan, planned.verdicts
    names = [supply.name for supply in ac_supplies(layout)]
    if not set(args.pair) <= set(names):
        raise LayoutError(f"--pair names two AC supplies of the layout: {', '.join(names)}", source=str(args.layout))
    if args.reading is None:
        if args.json:
            raise LayoutError("--json needs --reading OWN OTHER BETWEEN")
        print(guide(layout, verdicts, plan), end="")
        return 0
    readings = [PhaseReading(own_volts=own, other_volts=other, between_volts=between) for own, other, between in args.reading]
    verdict = phase_verdict(layout, verdicts, readings, args.pair)
    if args.json:
        print(json.dumps(verdict_record(verdict)))
        return 0
    for caution in CAUTIONS:
        print(f"! {caution}")
    measured = [supply for supply in ac_supplies(layout) if not args.pair or supply.name in args.pair]
    print(meaning(verdict, measured, plan))
    return 0
