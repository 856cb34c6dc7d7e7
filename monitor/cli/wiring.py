"""``pilotlamp wiring``: the wiring card of the whole layout, to print and to draw."""

import argparse
from pathlib import Path

from monitor.layout.edit import write_text
from monitor.planning.bench_check import refused
from monitor.planning.plan_load import load_planned
from monitor.planning.wiring_card import card_text, draw_card


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument("--rails", type=int, choices=(2, 3), help="rails of the track (default: as the plan file says, else 3)")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="also draw it")


def run(args: argparse.Namespace) -> int:
    """Print the card."""
    planned = load_planned(args.layout, args.plan, {"rails": args.rails})
    card = planned.layout, planned.plan, refused(planned.verdicts)
    print(card_text(*card), end="")
    if args.svg is not None:
        write_text(args.svg, draw_card(*card))
        print(f"Drawn: {args.svg}")
    return 0
