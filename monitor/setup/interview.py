"""A walk over the questions of a set-up, from what was typed to what is open.

A flow is a generator that yields questions and is sent the values of their answers; :func:`walk` runs it from the beginning over what was
typed each time. So nothing has a state but the draft, going back is looking at an earlier question, and an answer that no longer fits
(a name used twice since, a board that has fewer channels now) is open again by itself.
"""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.errors import MonitorError
from monitor.setup.questions import Answer, SetupQuestion

Flow = Generator[Sequence[SetupQuestion], tuple[Any, ...], Any]
"""Yields questions that may be answered in any order, is sent the values of their answers once all are there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedQuestion:
    """A question of the walk and how it stands.

    Attributes:
        question: The question.
        typed: What was typed, None where nothing was yet.
        value: What it says.
        complaint: Why what was typed is no answer; empty where it is one.
    """

    question: SetupQuestion
    typed: str | None
    value: Answer = None
    complaint: str = ""

    @property
    def is_open(self) -> bool:
        """Whether it is still to be answered."""
        return self.typed is None or bool(self.complaint)


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """How far a set-up has come.

    Attributes:
        asked: Every question up to the first yield with something open, in order.
        finished: Whether nothing is open.
    """

    asked: tuple[AskedQuestion, ...]
    finished: bool


def walk(flow: Flow, typed: Mapping[str, str]) -> Walk:
    """Run a flow over what was typed, up to what is open."""
    every: list[AskedQuestion] = []
    try:
        questions = next(flow)
        while True:
            asked = [_asked(question, typed) for question in questions]
            every += [each for each in asked if not _is_left_out(each.question, typed)]
            if any(each.is_open for each in asked):
                return Walk(asked=tuple(every), finished=False)
            questions = flow.send(tuple(each.value for each in asked))
    except StopIteration:
        return Walk(asked=tuple(every), finished=True)


def _asked(question: SetupQuestion, typed: Mapping[str, str]) -> AskedQuestion:
    if _is_left_out(question, typed):
        return AskedQuestion(question=question, typed="")
    answer = typed.get(question.key)
    if answer is None:
        return AskedQuestion(question=question, typed=None)
    try:
        return AskedQuestion(question=question, typed=answer, value=question.answer(answer))
    except MonitorError as error:
        return AskedQuestion(question=question, typed=answer, complaint=str(error))


def _is_left_out(question: SetupQuestion, typed: Mapping[str, str]) -> bool:
    if question.unless is None:
        return False
    key, words = question.unless
    return typed.get(key, "").strip() in words
