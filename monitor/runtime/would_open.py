"""Would that breaker have opened? What another layout's protections would have done with what was recorded."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from monitor.layout import Layout
from monitor.sessions import SessionFolder
from monitor.sessions.notice_rows import read_notices
from monitor.values import Cause, Event, Step, SupplyLoad

HELD_BELOW = 0.9
"""Likely heat up to which a protection is said to have held; between this and 1 it is too close to tell."""
SAME_OPENING_S = 1.0
SHORT_WITHIN_S = 3.0
SAME_CAUSE_S = 2.0
"""What would have opened so shortly before it did open is one opening."""
ARMED_BELOW = 0.7
"""After a would-be opening the next one counts once the heat was down here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One answer about one supply.

    Attributes:
        supply: Its name.
        at_s: When it would have opened, or did open in the recording; seconds of the stream. None where neither happened.
        opened: True where it did open in the recording.
        heat: Likely heat of the protection by this layout then, 1 where it opens; where neither happened, the highest.
        after_short: True where a short circuit came just before: then heat alone does not decide.
    """

    supply: str
    at_s: float | None
    opened: bool
    heat: float
    after_short: bool = False

    @property
    def sentence(self) -> str:
        """For a person; the moment is said by whoever knows the clock."""
        share = f"{100 * self.heat:.0f}% of what opens it"
        if self.at_s is None:
            return f"{self.supply}: this protection would have held: it came to {share} at most."
        if not self.opened:
            return f"{self.supply}: this protection would have opened here, and in the recording it did not."
        if self.after_short and self.heat < 1.0:
            return f"{self.supply}: it opened here after a short circuit; by heat this one was at {share}, but a short may open it at once."
        if self.heat < HELD_BELOW:
            return f"{self.supply}: it opened here in the recording; this protection would have held: it was at {share}."
        if self.heat < 1.0:
            return f"{self.supply}: it opened here in the recording; this one was at {share}: too close to tell."
        return f"{self.supply}: it opened here in the recording, and this protection would have opened too."


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A protection that opened in a recording.

    Attributes:
        at_s: When, seconds of the stream.
        after_short: A short circuit came just before.
    """

    at_s: float
    after_short: bool


class WouldOpen:
    """Follows the heat of every protection through a recording.

    What was recorded goes on as it did then: behind a moment at which a protection would have opened, or would have held though
    it opened, nobody knows what would have come.

    Args:
        layout: The layout that the recording is judged by.
        opened: When each supply's protection opened in the recording, by its name, in order.
    """

    def __init__(self, layout: Layout, opened: Mapping[str, Sequence[Opening]]) -> None:
        self._tracks = {supply.name: _Track(supply.name, opened.get(supply.name, ())) for supply in layout.supply}

    def take(self, step: Step) -> None:
        """Take one step."""
        for load in step.loads:
            self._tracks[load.name].take(load)

    def verdicts(self) -> tuple[Verdict, ...]:
        """What can be said so far, in order of time; a supply whose protection is not known is left out."""
        found = [verdict for track in self._tracks.values() for verdict in track.verdicts()]
        return tuple(sorted(found, key=lambda verdict: -1.0 if verdict.at_s is None else verdict.at_s))


def openings(session: SessionFolder) -> dict[str, list[Opening]]:
    """When each supply's protection opened, as the session itself says by its own layout, in order."""
    supplies = {district.name: district.supply for district in session.layout().district}
    events = sorted(read_notices(session, "events", Event), key=lambda each: each.start_s)
    shorts = [(supplies.get(event.district), event.start_s) for event in events if event.cause is Cause.SHORT]
    found: dict[str, list[Opening]] = {}
    for event in events:
        supply = supplies.get(event.district)
        if event.cause is Cause.PROTECTION_OPEN and supply is not None:
            known = found.setdefault(supply, [])
            # Every district of a supply tells of the same opening.
            if not known or event.start_s - known[-1].at_s > SAME_OPENING_S:
                after_short = any(where == supply and 0 <= event.start_s - at_s < SHORT_WITHIN_S for where, at_s in shorts)
                known.append(Opening(at_s=event.start_s, after_short=after_short))
    return found


class _Track:
    def __init__(self, supply: str, opened: Sequence[Opening]) -> None:
        self._supply = supply
        self._due = list(opened)
        self._found: list[Verdict] = []
        self._highest: float | None = None
        self._before = 0.0
        self._armed = True

    def take(self, load: SupplyLoad) -> None:
        if load.heat is None or math.isnan(load.heat):
            return
        while self._due and load.at_s >= self._due[0].at_s:
            due = self._due.pop(0)
            self._found.append(
                Verdict(supply=self._supply, at_s=due.at_s, opened=True, heat=self._before, after_short=due.after_short)
            )
            self._armed = False
        if load.is_open:
            return
        self._highest = max(self._highest or 0.0, load.heat)
        if load.heat >= 1.0 and self._armed:
            self._armed = False
            if not (self._due and self._due[0].at_s - load.at_s < SAME_CAUSE_S):
                self._found.append(Verdict(supply=self._supply, at_s=load.at_s, opened=False, heat=load.heat))
        self._armed = self._armed or load.heat < ARMED_BELOW
        self._before = load.heat

    def verdicts(self) -> Iterator[Verdict]:
        yield from self._found
        if not self._found and self._highest is not None:
            yield Verdict(supply=self._supply, at_s=None, opened=False, heat=self._highest)
