"""``pilotlamp bench``: the bench check of each supply, asked at the terminal, judged, and kept with the layout."""

import argparse
import datetime as dt
import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import cast

import msgspec

from monitor.cli.prompts import answered
from monitor.errors import LayoutError
from monitor.layout import Layout, Supply, load_layout
from monitor.layout.edit import Plain, add_bench_record, change_layout, set_supply_findings, spare_path
from monitor.layout.schema import BenchRecord
from monitor.planning.bench_check import BenchVerdict, check_all, today_here
from monitor.planning.bench_questions import QUESTIONS, answer_of, inspection_sheet, seller_words
from monitor.planning.cautions import cautions_at
from monitor.planning.plan_edit import set_aside
from monitor.planning.plan_file import SetAside
from monitor.planning.plan_load import load_plan

UNPLUG = "Unplug the supply before you touch it. Look and feel only: never open the case."
RECORD_FORM = "WHAT,DATE,WHO[,megohms=N,test_volts=N][,earth_ohms=N][,good_until=DATE][,note=TEXT]"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml")
    parser.add_argument("--supply", metavar="NAME", help="this supply only")
    parser.add_argument("--json", action="store_true", help="print one JSON object a supply, and nothing else")
    parser.add_argument("--trains", choices=("ac", "dc"), help="the current that the trains need")
    parser.add_argument("--sheet", action="store_true", help="print the inspection sheet of the whole bench, to sign")
    parser.add_argument("--seller", action="store_true", help="what to ask a seller and to look for before a supply is bought")
    changes = parser.add_mutually_exclusive_group()
    changes.add_argument("--ask", action="store_true", help="ask the questions and write the answers into the layout file")
    changes.add_argument(
        "--record",
        metavar="WHAT,DATE,WHO...",
        help=f"keep a test or repair of --supply, in full {RECORD_FORM}; WHAT is insulation-test, earth-test, examination or repair",
    )
    changes.add_argument("--set-aside", metavar="REASON", help="use --supply against its verdict; --by says who answers for it")
    changes.add_argument("--heed", action="store_true", help="heed the verdict on --supply again")
    parser.add_argument("--by", metavar="WHO", help="with --set-aside")


def run(args: argparse.Namespace) -> int:
    """Change what was asked for, then print a card for each supply."""
    if args.seller:
        print("\n".join(seller_words()))
        return 0
    layout = load_layout(args.layout)
    chosen = [supply for supply in layout.supply if args.supply in (None, supply.name)]
    if not layout.supply:
        raise LayoutError("there is no supply yet: add a [[supply]] table", source=str(args.layout))
    if not chosen:
        names = ", ".join(supply.name for supply in layout.supply)
        raise LayoutError(f'there is no supply "{args.supply}": use one of: {names}', source=str(args.layout))
    today = today_here()
    _change(args, chosen, today)
    layout = load_layout(args.layout)
    plan = load_plan(args.layout, layout)
    if args.sheet:
        print(inspection_sheet(layout, plan, check_all(layout, plan, today=today, trains=args.trains), today=today), end="")
        return 0
    aside = {each.supply: each.words for each in plan.set_aside}
    wanted = {supply.name for supply in chosen}
    for verdict in check_all(layout, plan, today=today, trains=args.trains):
        if verdict.supply in wanted:
            print(json.dumps(as_json(verdict)) if args.json else card(layout, verdict, aside.get(verdict.supply, "")))
    return 0


def as_json(verdict: BenchVerdict) -> dict[str, object]:
    """The machine-readable form of a verdict."""
    return {
        "kind": "bench",
        "supply": verdict.supply,
        "verdict": verdict.fitness.word,
        "reasons": [f"{reason.finding} {reason.remedy}" for reason in verdict.reasons],
        "open": [f"{key}: {question}" for key, question in verdict.open_questions],
    }


def card(layout: Layout, verdict: BenchVerdict, aside: str = "") -> str:
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
    rows += [f"  ! {aside}"] if aside else []
    rows += [f"  - {reason.finding} {reason.remedy}" for reason in verdict.reasons]
    rows += [f"  ? {question}" for _, question in verdict.open_questions]
    rows += [f"  * {note}" for note in verdict.notes]
    rows.append(f"  {UNPLUG} {cautions_at('bench')[0]}")
    return "\n".join(rows)


def _change(args: argparse.Namespace, chosen: list[Supply], today: dt.date) -> None:
    if args.ask:
        print("\n".join([UNPLUG, *cautions_at("bench")]))
        for supply in chosen:
            _ask_and_write(args.layout, supply, today.isoformat())
        return
    if not (args.record or args.set_aside or args.heed):
        return
    if args.supply is None:
        raise LayoutError("name the supply: add --supply NAME")
    if args.record:
        record = _record(args.record)
        change_layout(args.layout, lambda text: add_bench_record(text, args.supply, record))
    elif args.heed:
        set_aside(args.layout, args.supply, None, today=today)
    elif not args.by:
        raise LayoutError("a verdict is set aside by somebody who answers for it: add --by WHO")
    else:
        setting = SetAside(supply=args.supply, reason=args.set_aside, by=args.by, on=today.isoformat())
        set_aside(args.layout, args.supply, setting, today=today)


def _record(text: str) -> Mapping[str, Plain]:
    head, rest = text.split(",")[:3], text.split(",")[3:]
    raw = dict(zip(("what", "on", "by"), (part.strip() for part in head), strict=False))
    for part in rest:
        key, _, value = part.partition("=")
        raw[key.strip()] = value.strip()
    try:
        record = msgspec.convert(raw, BenchRecord, strict=False)
    except msgspec.ValidationError as error:
        raise LayoutError(f"--record takes {RECORD_FORM}: {error}") from error
    return cast("Mapping[str, Plain]", msgspec.to_builtins(record))


def _ask_and_write(path: Path, supply: Supply, today: str) -> None:
    print(f"\n{supply.name}. Empty: not looked at.")
    findings: dict[str, Plain] = {"checked_on": today}
    for question in QUESTIONS:
        found = answered(f"  {question.text} {question.hint} ", partial(answer_of, question))
        if found is not None:
            findings[question.key] = found
    change_layout(path, lambda text: set_supply_findings(text, supply.name, findings))
    print(f"Written to {path}; the file as it was is {spare_path(path)}.")
