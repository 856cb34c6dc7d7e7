"""Warnings: what a person should act on, and what operators did about them."""

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

AlarmState = Literal["unacknowledged", "acknowledged", "returned", "normal"]
"""States of ISA-18.2 / IEC 62682; shelving stands beside them."""
ScopeKind = Literal["supply", "output", "district"]


class Priority(IntEnum):
    """How soon somebody has to act (ISA-18.2 / IEC 62682 terms).

    LOW: know it, act when convenient. MEDIUM: act within minutes. HIGH: act now.
    """

    LOW = 1
    MEDIUM = 2
    HIGH = 3

    @property
    def word(self) -> str:
        """The word for screens and files."""
        return self.name.lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What a warning is about.

    Attributes:
        kind: "supply", "output" or "district".
        name: Its name; an output is written SUPPLY/OUTPUT.
    """

    kind: ScopeKind
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Warning:  # noqa: A001 - the trade's own word; the builtin is an exception class that is not raised here
    """One occurrence, from when it rose to when it cleared. The same id comes again when something of it changed.

    Attributes:
        id: Counts up within a stream; a rise in priority is a new occurrence with a new id.
        rule: Which rule, a short name with dashes.
        priority: How soon to act.
        scope: What it is about.
        start_s: When it rose, seconds of the stream.
        end_s: When it cleared; None while it stands.
        trip_in_s: Seconds to the predicted opening as seen at start_s; None where none is predicted.
        message: What is wrong, where, how long is left: one sentence.
        advice: What to do now: one sentence.
        state: Of an occurrence that stands: "unacknowledged" or "acknowledged"; of one that cleared: "returned" (no one has
            acknowledged it yet) or "normal".
        shelved_until_s: Put aside by an operator until this moment of the stream; None where it is not.
        first_out: The first one of its supply since everything there was well: look here first.
        comes_and_goes: It rose again and again within a minute, and so stands until it has been quiet for a while.
        limit: Which limit binds, in words; empty where none does.
        share: Share of that limit as seen at start_s; None where none binds.
        trip_earliest_s: Seconds to the opening of a quick protection, as seen at start_s; None where none is predicted.
        trip_latest_s: The same of a slow one; None also where a slow one may never open.
        time_words: The words of the message that say how long is left, as seen at start_s: a later display
            puts the words of that moment in their place. Empty where there is no time.
    """

    id: int
    rule: str
    priority: Priority
    scope: Scope
    start_s: float
    end_s: float | None
    trip_in_s: float | None
    message: str
    advice: str
    state: AlarmState = "unacknowledged"
    shelved_until_s: float | None = None
    first_out: bool = False
    comes_and_goes: bool = False
    limit: str = ""
    share: float | None = None
    trip_earliest_s: float | None = None
    trip_latest_s: float | None = None
    time_words: str = ""


ActionKind = Literal["acknowledge", "shelve", "unshelve", "mute", "unmute", "mark"]


PASSES = "pass"
"""A remark with this word is a place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One operator action.

    Attributes:
        kind: What was done. A "mark" is a remark on the time line ("cleaned rails", "train passes the station").
        at_s: When, stream seconds.
        warning_id: Which warning, for acknowledge and shelve; None otherwise.
        until_s: When shelving or muting ends by itself, stream seconds.
        district: Where, for a mark; may be None.
        text: The remark of a mark; empty otherwise.
        by: Who, as the page knows it ("this machine", "link 2").
    """

    kind: ActionKind
    at_s: float
    warning_id: int | None = None
    until_s: float | None = None
    district: str | None = None
    text: str = ""
    by: str = ""

    @property
    def is_landmark(self) -> bool:
        """A remark written as a train passed a place: "passes the station"."""
        return self.kind == "mark" and PASSES in self.text.lower()
