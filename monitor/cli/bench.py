"""``pilotlamp bench``: the bench check of each supply, asked at the terminal, judged, and kept with the layout."""

import argparse
import datetime as dt
import sys
from collections.abc import Callable
from pathlib import Path

from monitor.errors import LayoutError
from monitor.layout import Layout, Supply, load_layout
from monitor.layout.edit import Plain, set_supply_condition
from monitor.layout.write import change_layout, spare_path
from monitor.planning.bench_check import BenchVerdict, check_bench
from monitor.planning.bench_questions import QUESTIONS, Question, answer_of
from monitor.planning.plan_file import load_plan, train_current_for

CAUTION = (
    "Unplug the supply before you touch it. Look and feel only: never open the case. What is on the mains side is for a licensed "
    "practitioner; local codes come first."
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--supply", metavar="NAME", help="this supply only")
    parser.add_argument("--ask", action="store_true", help="ask the questions and write the answers into the layout file")
    parser.add_argument("--trains", choices=("ac", "dc"), help="the current that the trains need")


def run(args: argparse.Namespace) -> int:
    """Ask where wanted, then print a card for each supply."""
    layout = load_layout(args.layout)
    chosen = [supply for supply in layout.supply if args.supply in (None, supply.name)]
    if not chosen:
        names = ", ".join(supply.name for supply in layout.supply)
        raise LayoutError(f'there is no supply "{args.supply}": use one of: {names}', source=str(args.layout))
    today = dt.datetime.now().astimezone().date()
    if args.ask:
        print(CAUTION)
        for supply in chosen:
            _ask_and_write(args.layout, supply, today.isoformat(), input)
        layout = load_layout(args.layout)
    plan = load_plan(args.layout, layout)
    for supply in map(layout.supply_named, [supply.name for supply in chosen]):
        needed = args.trains or train_current_for(layout, supply, plan)
        print(card(layout, check_bench(supply, layout.mains, this_year=today.year, train_current=needed)))
    return 0


def card(layout: Layout, verdict: BenchVerdict) -> str:
    """A card to print and keep with the supply."""
    supply = layout.supply_named(verdict.supply)
    checked = supply.condition.checked_on if supply.condition and supply.condition.checked_on else "not yet"
    unit = "VA" if supply.rated_va is not None else "W"
    rows = [
        "=" * 72,
        f"{supply.name}: {verdict.fitness.sentence.upper()}",
        f"Plate: {supply.plate_va:g} {unit}, up to {supply.max_volts:g} V {supply.current.upper()}. Checked: {checked}.",
        f"Mains here: {layout.mains.volts:g} V, {layout.mains.hertz:g} Hz.",
    ]
    rows += [f"  - {reason.finding} {reason.remedy}" for reason in verdict.reasons]
    rows += [f"  ? {question}" for question in verdict.open_questions]
    rows += [f"  * {note}" for note in verdict.notes]
    rows.append(f"  {CAUTION}")
    return "\n".join(rows)


def _ask_and_write(path: Path, supply: Supply, today: str, ask: Callable[[str], str]) -> None:
    print(f"\n{supply.name}. Empty: not looked at.")
    findings: dict[str, Plain] = {"checked_on": today}
    for question in QUESTIONS:
        found = _ask(question, ask)
        if found is not None:
            findings[question.key] = found
    change_layout(path, lambda text: set_supply_condition(text, supply.name, findings))
    print(f"Written to {path}; the file as it was is {spare_path(path)}.")


def _ask(question: Question, ask: Callable[[str], str]) -> Plain | None:
    while True:
        try:
            said = ask(f"  {question.text} {question.hint} ")
        except EOFError:
            return None
        try:
            return answer_of(question, said)
        except LayoutError as error:
            print(f"  {error}", file=sys.stderr)
