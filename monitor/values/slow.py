"""Slow figures: what changes over an evening or from one evening to the next."""

from dataclasses import dataclass
from typing import Literal

SlowKind = Literal["source-ohms", "loop-ohms", "running-amps", "opening-share", "flickers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowFigure:
    """One figure worth comparing with earlier ones; replaces what was said before of the same kind and name.

    Attributes:
        kind: "source-ohms": what a supply loses for each amp. "loop-ohms": a district's feeder, out and back.
            "running-amps": what a district's trains draw. "opening-share": how soon a protection opened, as a share of its
            typical time. "flickers": how often lit cars lost contact for a moment in the last minute.
        name: The supply or district.
        value: The figure now, in the unit that the kind names.
        reference: What it is measured against: the wire's own ohms, the first minutes' amps, the first opening; None: nothing yet.
        spread: Half the range that holds the middle half of what the figure was taken from; 0 where it was one.
        count: How many steps, minutes or openings it was taken from.
        at_s: When it was found, seconds of the stream.
    """

    kind: SlowKind
    name: str
    value: float
    reference: float | None
    spread: float
    count: int
    at_s: float
