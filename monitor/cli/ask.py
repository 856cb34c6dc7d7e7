"""``pilotlamp ask``: the usual questions about what the collectors kept, over halls and years."""

import argparse
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

from monitor.bus.answers import QUESTIONS, Answer, Range, answer

UNITS = (
    (("va", "h"), "VAh"),
    *(((name,), unit) for name, unit in (("volts", "V"), ("amps", "A"), ("watts", "W"), ("va", "VA"), ("percent", "%"))),
    *(((name,), unit) for name, unit in (("minutes", "min"), ("hours", "h"), ("s", "s"))),
)
"""By the words of a column's name; of several that fit, the first."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = "questions:\n" + "\n".join(f"  {name:10}{purpose}" for name, (purpose, _) in QUESTIONS.items())
    parser.add_argument("folder", type=Path, metavar="DIR", help="the folder of 'pilotlamp collect --into'")
    asked = parser.add_mutually_exclusive_group(required=True)
    asked.add_argument("question", nargs="?", choices=list(QUESTIONS), metavar="QUESTION", help="one of the questions below")
    asked.add_argument("--sql", metavar="TEXT", help="or your own, over readings, supplies, warnings, events and watched")
    parser.add_argument("--hall", help="of this hall only")
    parser.add_argument("--since", type=_day, metavar="DATE", help="from this day on, as 2026-01-31")
    parser.add_argument("--until", type=_day, metavar="DATE", help="up to and with this day")
    parser.add_argument("--json", action="store_true", help="one JSON object a row")


def run(args: argparse.Namespace) -> int:
    """Print the answer."""
    asked = Range(hall=args.hall, since=args.since, until=args.until)
    found = answer(args.folder, args.sql or args.question, asked)
    print(_json_lines(found) if args.json else _table(found))
    return 0


def _day(text: str) -> str:
    try:
        return dt.date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no date: write it as 2026-01-31") from error


def _json_lines(found: Answer) -> str:
    rows = ([float(f"{value:.7g}") if isinstance(value, float) else value for value in row] for row in found.rows)
    return "\n".join(json.dumps(dict(zip(found.columns, row, strict=True)), default=str) for row in rows)


def _table(found: Answer) -> str:
    if not found.rows:
        return "nothing of that kind was kept"
    cells = [[name.replace("_", " ") for name in found.columns], *(list(map(_word, found.columns, row)) for row in found.rows)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(found.columns))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells)


def _word(column: str, value: Any) -> str:  # noqa: ANN401 - whatever a column holds
    if isinstance(value, float):
        # Figures are kept as 32-bit floats: beyond seven digits there is nothing in them.
        words = re.split(r"[^a-z]+", column.lower())
        unit = next((unit for names, unit in UNITS if set(names) <= set(words)), "")
        return f"{value:.5g}{unit and ' '}{unit}"
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%d %H:%M:%S")
    return "–" if value is None else str(value)
