"""What the bench check asks, for the terminal, the page's form and a seller alike."""

import re
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.layout.edit import Plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Attributes:
        key: Key of the layout file's condition table; with a dot, of the supply itself or of its protection.
        text: The question.
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


def answer_of(question: Question, said: str) -> Plain | None:
    """The answer as the layout file keeps it; None for an empty one.

    Raises:
        LayoutError: It is not one of the answers; the message says which are.
    """
    word = said.strip()
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
