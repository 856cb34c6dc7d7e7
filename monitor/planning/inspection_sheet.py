"""The inspection sheet of a bench: every supply with plate, checks, tests, who, when and what is due next, to print and sign."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

from monitor.layout import Layout, Supply
from monitor.layout.schema import BenchRecord
from monitor.planning.bench_check import BenchVerdict, good_until
from monitor.planning.bench_questions import QUESTIONS
from monitor.planning.plan_file import Plan

LINE = "_" * 24


def inspection_sheet(layout: Layout, plan: Plan, verdicts: Sequence[BenchVerdict], *, today: dt.date) -> str:
    """The sheet as plain text.

    Args:
        layout: The layout.
        plan: The plan file, for verdicts that were set aside.
        verdicts: Of the bench checks.
        today: The day of the sheet.
    """
    aside = {each.supply: each.words for each in plan.set_aside}
    rows = [
        f"Inspection sheet: {layout.title}",
        f"{today.isoformat()}, mains {layout.mains.volts:g} V, {layout.mains.hertz:g} Hz",
        "",
        "A record of what was seen, no approval. Local codes decide who may inspect, what and how often. Keep it until the show is over.",
    ]
    for verdict in verdicts:
        rows += ["", "-" * 72, *_supply_rows(layout.supply_named(verdict.supply), verdict, aside)]
    rows += ["", f"Inspected by {LINE}  on {LINE}", f"Responsible  {LINE}  on {LINE}"]
    return "\n".join(rows) + "\n"


def _supply_rows(supply: Supply, verdict: BenchVerdict, aside: Mapping[str, str]) -> Iterator[str]:
    condition = supply.condition
    serial = condition.serial if condition is not None and condition.serial else LINE
    yield f"{supply.name}   serial or mark: {serial}"
    yield f"  Plate: {_plate(supply)}"
    yield f"  Verdict: {verdict.why}"
    if supply.name in aside:
        yield f"  ! {aside[supply.name]}"
    checked = condition.checked_on if condition is not None else None
    yield f"  Checked on {checked or LINE}"
    for question in QUESTIONS:
        kind, _, key = question.key.rpartition(".")
        if not kind and key != "serial":
            yield f"    [{_answer(getattr(condition, key, None)):>8}] {question.text}"
    for record in condition.record if condition is not None else ():
        yield f"  {_record(record)}"
    yield f"  Next test due: {_due(supply)}"


def _plate(supply: Supply) -> str:
    unit = "VA" if supply.rated_va is not None else "W"
    volts = "-".join(f"{each:g}" for each in supply.input_volts or ()) or LINE
    hertz = "-".join(f"{each:g}" for each in supply.input_hertz or ()) or LINE
    protection = supply.protection
    opens = "protection unknown"
    if protection is not None:
        opens = f"protection: {protection.kind}" + (f" {protection.rated_amps:g} A" if protection.rated_amps is not None else "")
    gives = f"{supply.plate_va:g} {unit} ({supply.rating_is}), up to {supply.max_volts:g} V {supply.current.upper()}"
    return f"{volts} V, {hertz} Hz; {gives}; {opens}"


def _answer(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "open" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _record(record: BenchRecord) -> str:
    figures = (
        (record.megohms, "megohms"),
        (record.test_volts, "V DC"),
        (record.earth_ohms, "ohm from pin to case"),
    )
    found = "".join(f", {value:g} {unit}" for value, unit in figures if value is not None)
    note = f": {record.note}" if record.note else ""
    return f"{record.on} {record.what.replace('-', ' ')} by {record.by}{found}{note}"


def _due(supply: Supply) -> str:
    tests = (
        [record for record in supply.condition.record if record.what == "insulation-test"] if supply.condition is not None else []
    )
    return max(good_until(test) for test in tests).isoformat() if tests else f"none recorded {LINE}"
