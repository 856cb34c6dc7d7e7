"""``pilotlamp terminals``: what the terminals of a supply are, from volts between pairs of posts."""

import argparse
import itertools
import json
from dataclasses import replace
from pathlib import Path
from typing import Literal

from monitor.errors import LayoutError
from monitor.layout import Supply
from monitor.layout.load import read_text
from monitor.planning.next_measurement import MeasurementRequest
from monitor.planning.plan_edit import keep_terminals
from monitor.planning.plan_load import measurable_supply, plan_path
from monitor.planning.terminal_readings import (
    POSTS_LIMIT,
    MeterReadings,
    ReadingTable,
    TerminalReadings,
    parse_readings,
    readings_of,
)
from monitor.planning.terminals import CARE, TerminalFinding, find_terminals, finding_record, finding_text, request_words

ALL_PAIRS_UP_TO = 5
"""Posts: with more of them the first round takes pairs with the first post only, and asks for what is missing after it."""
CORRECTING = "A slip is corrected at any prompt: A-B=12.3 for this round, left A-B=12.3 for the round with throttle left up."

Meter = Literal["ac", "dc"]


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "names", nargs="*", metavar="TERMINAL", help=f"the posts as they are marked, two to {POSTS_LIMIT} of them"
    )
    parser.add_argument("--throttle", action="append", default=[], metavar="NAME", help="a throttle of the supply; once for each")
    parser.add_argument("--readings", type=Path, metavar="FILE.toml", help="take the figures from a file instead of asking")
    parser.add_argument("--json", action="store_true", help="print one JSON object; with --readings")
    parser.add_argument("--meter", choices=("ac", "dc"), help="what the meter is set to (default: as the supply gives)")
    parser.add_argument("--max-volts", type=float, help="highest output volts by the plate")
    parser.add_argument("--rails", type=int, choices=(2, 3), default=3)
    parser.add_argument("--layout", type=Path, metavar="LAYOUT.toml", help="keep what was found in the layout's plan file")
    parser.add_argument("--supply", metavar="NAME", help="with --layout: which supply of it this is")


def run(args: argparse.Namespace) -> int:
    """Take the figures from a file or ask for them, then print what the posts are."""
    supply = _supply(args)
    if args.readings is not None:
        readings = parse_readings(read_text(args.readings), source=str(args.readings))
        found = find_terminals(
            replace(readings, max_volts=args.max_volts or readings.max_volts or (supply.max_volts if supply else None))
        )
    elif args.json:
        raise LayoutError("--json needs --readings FILE.toml")
    else:
        found = _asked(args, supply)
    if args.json:
        print(json.dumps(finding_record(found)))
    else:
        print(finding_text(found, rails=args.rails), end="")
    if supply is not None and found.decided:
        keep_terminals(args.layout, supply.name, found, rails=args.rails)
        if not args.json:
            print(f"Kept in {plan_path(args.layout)}: pilotlamp wiring {args.layout} prints the card of the whole layout.")
    return 0


def _supply(args: argparse.Namespace) -> Supply | None:
    if args.layout is None:
        return None
    return measurable_supply(args.layout, args.supply or "")


def _asked(args: argparse.Namespace, supply: Supply | None) -> TerminalFinding:
    """Ask round by round, then for what decides."""
    if len(args.names) < 2:
        raise LayoutError("name the posts as they are marked, two of them at least, or give --readings FILE.toml")
    meter: Meter = args.meter or (supply.current if supply is not None else "ac")
    print(f"Meter on {meter.upper()} volts, a lamp across the pair as a small load. {CARE}\n{CORRECTING}")
    figures = _Figures(tuple(args.names), tuple(args.throttle), meter, args.max_volts or (supply.max_volts if supply else None))
    for throttle in (None, *args.throttle):
        figures.ask(MeasurementRequest(throttle=throttle, pairs=figures.first_pairs()))
    while True:
        try:
            found = find_terminals(figures.readings())
        except LayoutError as error:
            print(f"{error}.")
            if not figures.correct(None, _line("Correct a figure (Enter to give up): ")):
                raise
            continue
        if found.measure_next is None:
            return found
        figures.ask(found.measure_next)


class _Figures:
    """Figures as they come in, round by round."""

    def __init__(self, posts: tuple[str, ...], throttles: tuple[str, ...], meter: Meter, max_volts: float | None) -> None:
        self._posts, self._meter, self._max_volts = posts, meter, max_volts
        ends = list(itertools.combinations(posts, 2))
        self._pair_names = {name: f"{one}-{other}" for one, other in ends for name in (f"{one}-{other}", f"{other}-{one}")}
        self._rounds: dict[str | None, dict[str, float]] = {None: {}, **{throttle: {} for throttle in throttles}}

    def first_pairs(self) -> tuple[str, ...]:
        """Every pair of a few posts; of many those with the first one."""
        posts = self._posts
        ends = itertools.combinations(posts, 2) if len(posts) <= ALL_PAIRS_UP_TO else ((posts[0], post) for post in posts[1:])
        return tuple(f"{one}-{other}" for one, other in ends)

    def ask(self, request: MeasurementRequest) -> None:
        """Ask for each pair of a round."""
        print(f"\n{request_words(request)}")
        for pair in request.pairs:
            while pair not in self._rounds[request.throttle]:
                typed = _line(f"  volts of {pair}: ")
                try:
                    if not self.correct(request.throttle, typed):
                        self._rounds[request.throttle][pair] = _volts(typed)
                except LayoutError as error:
                    print(f"  {error}.")

    def correct(self, throttle: str | None, typed: str) -> bool:
        """Take a correction like ``A-B=12.3`` or ``left A-B=12.3``; whether it was one."""
        place, equals, volts = typed.partition("=")
        if not equals:
            return False
        for its in (None, *self._rounds):
            head = f"{its} " if its is not None else ""
            pair = place.strip().removeprefix(head)
            if place.strip().startswith(head) and pair in self._pair_names:
                self._rounds[throttle if its is None else its][self._pair_names[pair]] = _volts(volts)
                return True
        print(f'  "{place.strip()}" is no pair of these posts: write one like {self.first_pairs()[0]}.')
        return True

    def readings(self) -> TerminalReadings:
        """All of them."""
        tables = tuple(ReadingTable(throttle=throttle, volts=volts) for throttle, volts in self._rounds.items())
        return readings_of(MeterReadings(terminals=self._posts, max_volts=self._max_volts, meter=self._meter, reading=tables))


def _line(prompt: str) -> str:
    try:
        return input(prompt)
    except EOFError as error:
        raise LayoutError("the figures ended early: measure every pair that is asked for") from error


def _volts(typed: str) -> float:
    try:
        return abs(float(typed.lower().replace("v", "").replace(",", ".")))
    except ValueError as error:
        raise LayoutError(f'"{typed}" is not a figure in volts: give one like 14.2') from error
