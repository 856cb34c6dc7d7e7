"""``pilotlamp terminals``: which terminal of a supply is the common, from volts between pairs at two throttle positions."""

import argparse
import itertools
from collections.abc import Callable
from pathlib import Path

from monitor.errors import LayoutError
from monitor.layout import Supply, load_layout
from monitor.planning.plan_edit import keep_terminals
from monitor.planning.plan_load import plan_path
from monitor.planning.terminals import Pair, find_terminals, wiring_card


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("names", nargs="+", metavar="TERMINAL", help="the terminals as they are marked, two to seven of them")
    parser.add_argument("--max-volts", type=float, help="highest output volts by the plate")
    parser.add_argument("--rails", type=int, choices=(2, 3), default=3)
    parser.add_argument("--layout", type=Path, metavar="LAYOUT.toml", help="keep what was found in the layout's plan file")
    parser.add_argument("--supply", metavar="NAME", help="with --layout: which supply of it this is")


def run(args: argparse.Namespace) -> int:
    """Ask for the volts of each pair at both positions, then print the wiring card."""
    if len(set(args.names)) != len(args.names):
        raise LayoutError("two terminals have the same name: give each its own")
    supply = _supply(args)
    print("Meter on AC volts (DC for a DC supply), a lamp as a small load. Never touch the mains side.")
    low = _measure(args.names, "throttle at its lowest running position", input)
    high = _measure(args.names, "throttle fully up", input)
    max_volts = args.max_volts or (supply.max_volts if supply is not None else None)
    found = find_terminals(low, high, max_volts=max_volts)
    print(wiring_card(found, rails=args.rails), end="")
    if supply is not None:
        keep_terminals(args.layout, supply.name, found, rails=args.rails)
        print(f"Kept in {plan_path(args.layout)}: pilotlamp wiring {args.layout} prints the card of the whole layout.")
    return 0


def _supply(args: argparse.Namespace) -> Supply | None:
    if args.layout is None:
        return None
    layout = load_layout(args.layout)
    for supply in layout.supply:
        if supply.name == args.supply:
            return supply
    names = ", ".join(supply.name for supply in layout.supply)
    raise LayoutError(f'say with --supply which supply this is: one of {names}, not "{args.supply}"', source=str(args.layout))


def _measure(names: list[str], position: str, ask: Callable[[str], str]) -> dict[Pair, float]:
    print(f"\n{position[0].upper()}{position[1:]}:")
    return {
        frozenset(pair): _volts(f"  volts between {pair[0]} and {pair[1]}: ", ask) for pair in itertools.combinations(names, 2)
    }


def _volts(prompt: str, ask: Callable[[str], str]) -> float:
    try:
        said = ask(prompt)
    except EOFError as error:
        raise LayoutError("the figures ended early: measure every pair at both positions") from error
    try:
        return abs(float(said.lower().replace("v", "").replace(",", ".")))
    except ValueError as error:
        raise LayoutError(f'"{said}" is not a figure in volts: start again and give one like 14.2') from error
