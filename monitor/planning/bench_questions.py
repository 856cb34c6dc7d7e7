"""What the bench check asks, for the terminal, the page and a seller alike, and the inspection sheet of the answers, to print and sign."""

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.layout import Layout, Supply
from monitor.layout.edit import Plain
from monitor.layout.schema import BenchRecord
from monitor.planning.bench_check import BenchVerdict, good_until
from monitor.planning.plan_file import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Attributes:
        key: Key of the layout file's condition table; with a dot, of the supply itself or of its protection.
        takes: What an answer is.
        answers: Words allowed, where it is a word.
        seller: What to ask a seller, or to look for in the pictures; empty where that is the question itself.
    """

    key: str
    text: str
    takes: Literal["yes or no", "word", "year", "figure", "figures", "text"] = "yes or no"
    answers: tuple[str, ...] = ()
    seller: str = ""

    @property
    def hint(self) -> str:
        """What may be answered."""
        hints = {
            "yes or no": "(yes/no)",
            "year": "(a year)",
            "figure": "(a figure)",
            "figures": "(one figure or several)",
            "text": "",
        }
        return f"({'/'.join(self.answers)})" if self.takes == "word" else hints[self.takes]


QUESTIONS = (
    Question(
        key="enclosed",
        text="Is it closed, with no live part within reach?",
        seller="Pictures from all sides: cracks, holes, missing covers, posts on the mains side?",
    ),
    Question(
        key="cord",
        text="How is the cord?",
        takes="word",
        answers=("sound", "stiff", "cracked", "cloth"),
        seller="Is the cord the first one? Cloth, stiff, cracked or taped?",
    ),
    Question(key="plug", text="How is the plug?", takes="word", answers=("sound", "damaged")),
    Question(key="strain_relief", text="Is the cord held firmly where it enters the case?"),
    Question(key="breaker_present", text="Is there a breaker or another overcurrent protection in it?"),
    Question(
        key="protection.kind",
        text="What opens when too much is drawn?",
        takes="word",
        answers=("thermal", "electronic", "fuse", "none", "unknown"),
    ),
    Question(key="protection.rated_amps", text="At how many amps is it rated?", takes="figure"),
    Question(
        key="breaker_reset",
        text="How does it come back after it opened: by itself, or by hand?",
        takes="word",
        answers=("auto", "manual"),
    ),
    Question(
        key="safety_listed",
        text="Does it carry a safety laboratory's mark?",
        seller="A picture of the plate: is a laboratory's mark on it?",
    ),
    Question(key="earthed", text="Does the plug have an earth pin that reaches the case?"),
    Question(key="polarised_plug", text="Does the plug go in one way only (or is the supply marked double insulated)?"),
    Question(
        key="supply.input_volts",
        text="For how many mains volts, as its plate reads (120, or 110-120, or 115, 230)?",
        takes="figures",
        seller="The plate's mains volts and hertz, and the total VA or watts: which side do they rate?",
    ),
    Question(key="supply.input_hertz", text="For how many hertz (cycles), as its plate reads?", takes="figures"),
    Question(
        key="selector_volts",
        text="Where its plate gives two ranges: to how many volts is its selector or link set (0: wide range, it needs none)?",
        takes="figure",
    ),
    Question(key="made_year", text="In which year was it made, as far as you can tell?", takes="year"),
    Question(key="serial", text="Its serial number, or the club's own mark?", takes="text"),
)


def seller_words() -> tuple[str, ...]:
    """What to ask a seller and to look for before a supply is bought."""
    return tuple(question.seller or question.text for question in QUESTIONS if question.key not in ("selector_volts", "serial"))


def answer_of(question: Question, typed: str) -> Plain | None:
    """The answer as the layout file keeps it; None for an empty one.

    Raises:
        LayoutError: It is not one of the answers; the message says which are.
    """
    word = typed.strip()
    if not word:
        return None
    if question.takes == "text":
        return word[:80]
    if question.takes == "year":
        if word.isdecimal() and 1880 <= int(word) <= 2200:
            return int(word)
        raise LayoutError("give a year of four digits, or nothing")
    if question.takes in ("figure", "figures"):
        return _figures(question, word)
    return _word(question, word.lower())


def _figures(question: Question, word: str) -> Plain:
    found = [float(each) for each in re.findall(r"\d+(?:\.\d+)?", word)]
    if not found or (question.takes == "figure" and len(found) > 1):
        raise LayoutError(f"give {'a figure' if question.takes == 'figure' else 'one figure or several'}, or nothing")
    return found[0] if question.takes == "figure" else sorted(found)


def _word(question: Question, word: str) -> Plain:
    if question.takes == "yes or no":
        if word in ("y", "yes", "n", "no"):
            return word in ("y", "yes")
        raise LayoutError("answer yes or no, or nothing")
    if word not in question.answers:
        raise LayoutError(f"answer one of {', '.join(question.answers)}, or nothing")
    return word


LINE = "_" * 24


def inspection_sheet(layout: Layout, plan: Plan, verdicts: Sequence[BenchVerdict], *, today: dt.date) -> str:
    """The sheet as plain text, with the verdicts that the plan file says were set aside."""
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
