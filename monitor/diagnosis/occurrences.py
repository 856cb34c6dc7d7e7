"""Occurrences: what a watcher found, on its way to becoming an event."""

from dataclasses import dataclass, field

from monitor.values import Cause

UNSEEN = -1


@dataclass(slots=True, kw_only=True)
class Occurrence:
    """One occurrence in one district; the watcher that found it goes on filling it in until it is over.

    Attributes:
        district: Column of the district.
        cause: Why.
        start_s: When it began, seconds of the stream.
        end_s: When it ended; None while it goes on.
        confidence: Share of such calls that are right, 0-1.
        evidence: Figures with their units in their names.
        first_tick: The tick at which this was first said: orders the ids, however the stream was cut; -1 before.
        known_tick: The tick at which this was last said.
        id: Given when it is first told; 0 before, UNSEEN where the readings cannot show it.
    """

    district: int
    cause: Cause
    start_s: float
    end_s: float | None = None
    confidence: float = 0.5
    evidence: dict[str, float] = field(default_factory=dict)
    first_tick: int = -1
    known_tick: int = -1
    id: int = 0
