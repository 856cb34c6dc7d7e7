"""What the bench check asks, for the terminal and for the page's form alike."""

from dataclasses import dataclass

from monitor.errors import LayoutError


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Attributes:
        key: Key of the layout file's condition table.
        text: The question.
        answers: Words allowed; empty for yes and no; ("year",) for a year.
    """

    key: str
    text: str
    answers: tuple[str, ...] = ()

    @property
    def hint(self) -> str:
        """What may be answered."""
        if self.answers == ("year",):
            return "(a year)"
        return f"({'/'.join(self.answers or ('yes', 'no'))})"


QUESTIONS = (
    Question(key="enclosed", text="Is it closed, with no live part within reach?"),
    Question(key="cord", text="How is the cord?", answers=("sound", "stiff", "cracked", "cloth")),
    Question(key="plug", text="How is the plug?", answers=("sound", "damaged")),
    Question(key="strain_relief", text="Is the cord held firmly where it enters the case?"),
    Question(key="breaker_present", text="Is there a breaker or another overcurrent protection in it?"),
    Question(
        key="breaker_reset", text="How does it come back after it opened: by itself, or by hand?", answers=("auto", "manual")
    ),
    Question(key="safety_listed", text="Does it carry a safety laboratory's mark?"),
    Question(key="earthed", text="Does the plug have an earth pin that reaches the case?"),
    Question(key="polarised_plug", text="Does the plug go in one way only (or is the supply marked double insulated)?"),
    Question(key="made_year", text="In which year was it made, as far as you can tell?", answers=("year",)),
)


def answer_of(question: Question, said: str) -> str | bool | int | None:
    """The answer as the layout file keeps it; None for an empty one.

    Raises:
        LayoutError: It is not one of the answers; the message says which are.
    """
    word = said.strip().lower()
    if not word:
        return None
    if question.answers == ("year",):
        if word.isdecimal() and 1880 <= int(word) <= 2200:
            return int(word)
        raise LayoutError("give a year of four digits, or nothing")
    if not question.answers:
        if word in ("y", "yes", "n", "no"):
            return word in ("y", "yes")
        raise LayoutError("answer yes or no, or nothing")
    if word not in question.answers:
        raise LayoutError(f"answer one of {', '.join(question.answers)}, or nothing")
    return word
