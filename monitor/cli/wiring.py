"""``pilotlamp wiring``: the wiring card of the whole layout, to print and to draw."""

import argparse
from pathlib import Path

import msgspec

from monitor.layout import load_layout
from monitor.layout.edit import write_text
from monitor.planning.bench_check import check_all, today_here
from monitor.planning.phasing_guide import refused
from monitor.planning.plan_load import load_plan
from monitor.planning.wiring_card import card_text, draw_card


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument("--rails", type=int, choices=(2, 3), help="rails of the track (default: as the plan file says, else 3)")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="also draw it")


def run(args: argparse.Namespace) -> int:
    """Print the card."""
    layout = load_layout(args.layout)
    plan = load_plan(args.layout, layout, args.plan)
    if args.rails is not None:
        plan = msgspec.structs.replace(plan, rails=args.rails)
    unfit = refused(check_all(layout, plan, today=today_here()))
    print(card_text(layout, plan, unfit), end="")
    if args.svg is not None:
        write_text(args.svg, draw_card(layout, plan, unfit))
        print(f"Drawn: {args.svg}")
    return 0
