"""A question of the set-up, and whether what was typed answers it."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError

LONGEST_NAME = 80
LONGEST_ANSWER = 400
Answer = str | float | bool | tuple[float, ...] | None
"""What an answer says; None where the question was left out."""
Takes = Literal["name", "figure", "figures", "choice", "yes or no", "text", "look"]

UNITS: dict[str, dict[str, float]] = {
    "V": {"v": 1, "volt": 1, "volts": 1, "vac": 1, "vdc": 1, "mv": 1e-3},
    "A": {"a": 1, "amp": 1, "amps": 1, "ampere": 1, "amperes": 1, "ma": 1e-3},
    "Hz": {"hz": 1, "hertz": 1, "cycles": 1, "c": 1},
    "VA": {"va": 1, "kva": 1e3},
    "VA or W": {"va": 1, "w": 1, "watt": 1, "watts": 1},
}
"""Spellings of each unit and what they count."""
_FIGURE = re.compile(r"([+-]?\d*[.,]?\d+|[+-]?\d+[.,]?)\s*([a-zA-Z]*)")
_THOUSANDS = re.compile(r"\d+,\d{3}(?!\d)")


BOARDS, LAYOUT, SUPPLIES, BENCH, DISTRICTS, CALIBRATION = (
    "Boards",
    "The layout",
    "Supplies",
    "Bench check",
    "Districts",
    "Zero and gain",
)
CHAPTERS = (BOARDS, LAYOUT, SUPPLIES, BENCH, DISTRICTS, CALIBRATION)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupQuestion:
    """One question.

    Attributes:
        key: Its place in the draft.
        chapter: Which part of the set-up it belongs to.
        card: Questions of one card are asked together on a page, one after the other on a terminal.
        text: The question.
        takes: What an answer is.
        unit: Of a figure, a key of :data:`UNITS`; empty for a plain number.
        limits: Lowest and highest of a figure.
        choices: Words that may be answered and what each means.
        taken: Names that may not be used again.
        proposal: What an empty answer stands for.
        optional: An empty answer leaves it out.
        note: How to tell, for a person.
        place: Where it is seen: board and pair, counted from 1.
        unless: A key and answers to it that leave this question out.
        check: Looks at the answer further; raises MonitorError.
    """

    key: str
    chapter: str
    card: str
    text: str
    takes: Takes = "name"
    unit: str = ""
    limits: tuple[float, float] = (0.0, 1e6)
    choices: tuple[tuple[str, str], ...] = ()
    taken: tuple[str, ...] = ()
    proposal: str = ""
    optional: bool = False
    note: str = ""
    place: tuple[str, int] | None = None
    unless: tuple[str, frozenset[str]] | None = None
    check: Callable[[Answer], None] | None = None

    def answer(self, typed: str) -> Answer:
        """What was typed as a value; None where the question was left out.

        Raises:
            MonitorError: It answers something else; the message says what would do.
        """
        typed = typed.strip() or self.proposal
        if not typed:
            if self.optional:
                return None
            raise LayoutError("this one is needed: type an answer")
        if len(typed) > LONGEST_ANSWER:
            raise LayoutError(f"that is too long: up to {LONGEST_ANSWER} characters")
        value = _READERS[self.takes](self, typed)
        if self.check is not None:
            self.check(value)
        return value


def figure_of(typed: str, unit: str, limits: tuple[float, float]) -> float:
    """A figure as people write it: with a point or a comma, with its unit or without.

    Raises:
        LayoutError: It is none, in another unit, or beyond the limits.
    """
    found = _FIGURE.fullmatch(typed.strip())
    if found is None:
        raise LayoutError(f"that is no figure: type one such as {_example(limits)}{unit and ' ' + unit}")
    if _THOUSANDS.fullmatch(found[1]):
        raise LayoutError(f"{found[1]} can be read in two ways: write it with a point, or without the comma")
    spelled = found[2].lower()
    if spelled and unit and spelled not in UNITS[unit]:
        raise LayoutError(f"{found[2]} is another unit: this asks for {unit}")
    if spelled and not unit:
        raise LayoutError("this is a plain number, without a unit")
    value = float(found[1].replace(",", ".")) * (UNITS[unit][spelled] if spelled else 1.0)
    low, high = limits
    if not low <= value <= high:
        raise LayoutError(f"that is not from {low:g} to {high:g}{unit and ' ' + unit}")
    return value


def _example(limits: tuple[float, float]) -> str:
    return f"{min(max(limits[0], 12.0), limits[1]):g}"


def _name(question: SetupQuestion, typed: str) -> Answer:
    if len(typed) > LONGEST_NAME or not typed.isprintable():
        raise LayoutError(f"that is too long or has characters that cannot be shown: up to {LONGEST_NAME} plain characters")
    if typed in question.taken:
        raise LayoutError(f'"{typed}" is used already: give each its own name')
    return typed


def _figure(question: SetupQuestion, typed: str) -> Answer:
    return figure_of(typed, question.unit, question.limits)


def _figures(question: SetupQuestion, typed: str) -> Answer:
    spelled = "|".join(UNITS[question.unit]) if question.unit else ""
    parts = [part for part in re.split(r"[\s/;–-]+|,\s+", typed) if part and part.lower() not in spelled.split("|")]
    return tuple(sorted({figure_of(part, question.unit, question.limits) for part in parts}))


def _choice(question: SetupQuestion, typed: str) -> Answer:
    words = [word for word, _ in question.choices]
    by_word = {word.lower(): word for word in words} | {str(n): word for n, word in enumerate(words, 1)}
    if typed.lower() not in by_word:
        raise LayoutError(f"answer one of: {', '.join(words)}")
    return by_word[typed.lower()]


def is_yes(typed: str) -> bool:
    """Yes or no.

    Raises:
        LayoutError: It is neither.
    """
    if typed.lower() not in ("y", "yes", "n", "no"):
        raise LayoutError("answer yes or no")
    return typed.lower().startswith("y")


_READERS: dict[str, Callable[[SetupQuestion, str], Answer]] = {
    "name": _name,
    "text": lambda _, typed: typed,
    "figure": _figure,
    "figures": _figures,
    "choice": _choice,
    "yes or no": lambda _, typed: is_yes(typed),
    "look": lambda _, typed: is_yes(typed),
}
