"""Would that breaker have opened? What this layout's protections would have done with what was recorded."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from monitor.layout import Layout
from monitor.sessions.pictures import clock_words
from monitor.values import Cause, Event, RecordedOverload, Step
from monitor.words.figures import percent

if TYPE_CHECKING:
    from monitor.sessions import SessionFolder

SAME_OPENING_S = 1.0
SHORT_WITHIN_S = 3.0
DEAD_WITHIN_S = 2.0
"""A supply is found dead this soon after it opened."""
SURE_SHARE, CLOSE_SHARE = 0.95, 0.25
"""Shares of the devices that a protection may be: where at least so many open it is sure that it does; where so many do when the
recorded one opened, it is too close to tell; where fewer than the rest of the first open, it is sure that it holds. Judgements."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One answer about one supply.

    Attributes:
        at_s: When it would have opened, or did open in the recording; seconds of the stream. None where neither happened.
        opens: True where a typical protection of this layout would have opened.
        recorded_s: When the recorded one opened in the same overload; None where it did not.
        share: Share of all devices that it may be that would have opened.
        heat: Highest likely heat of the protection by this layout, 1 where it opens.
        after_short: True where a short circuit came just before the recorded opening: then heat alone does not decide.
    """

    supply: str
    at_s: float | None
    opens: bool
    recorded_s: float | None
    share: float
    heat: float
    after_short: bool = False

    @property
    def confidence(self) -> Literal["sure", "close"]:
        """Whether nearly all devices that it may be would have done the same."""
        return "sure" if (self.share if self.opens else 1.0 - self.share) >= SURE_SHARE else "close"

    @property
    def tells_opening(self) -> bool:
        """It would have opened, or perhaps where the recorded one did."""
        return self.opens or (self.recorded_s is not None and not self.after_short and self.share >= CLOSE_SHARE)

    @property
    def sentence(self) -> str:
        """For a person; the moment stands before it."""
        return f"{self.supply}: {self._would_have_opened if self.opens else self._would_have_held}."

    def line(self, first_s: float) -> str:
        """The sentence after its moment, counted from the beginning of the session."""
        return self.sentence if self.at_s is None else f"{clock_words(self.at_s - first_s)} {self.sentence}"

    @property
    def _would_have_opened(self) -> str:
        close = ", but it was close" if self.confidence == "close" else ""
        gone_s = 0.0 if self.recorded_s is None or self.at_s is None else self.recorded_s - self.at_s
        later = "here too" if gone_s < DEAD_WITHIN_S else f"{gone_s:.0f} s later"
        recorded = "it did not" if self.recorded_s is None else f"it opened {later}"
        return f"this protection would have opened here{close}; in the recording {recorded}"

    @property
    def _would_have_held(self) -> str:
        share = f"it came to {percent(self.heat)} of what opens it{' at most' if self.at_s is None else ''}"
        recorded = "" if self.recorded_s is None else "it opened here in the recording; "
        if self.after_short:
            return f"{recorded}by heat this one would have held ({share}), but a short may open it at once"
        if self.confidence == "close":
            return f"{recorded}too close to tell whether this protection would have held: {share}"
        return f"{recorded}this protection would have held: {share}"


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
    """Holds what protections would have done against what was recorded.

    What was recorded goes on as it did then: behind a moment at which a protection would have opened, or would have held though
    it opened, what would have come is not known.

    Args:
        layout: The layout that the recording is judged by.
        opened: When each supply's protection opened in the recording, by its name, in order; None where the steps tell.
    """

    def __init__(self, layout: Layout, opened: Mapping[str, Sequence[Opening]] | None = None) -> None:
        self._layout, self._opened = layout, opened
        self._events: dict[int, Event] = {}
        self._overloads: dict[tuple[str, float], RecordedOverload] = {}
        self._highest: dict[str, float] = {}
        self._now_s = -1.0

    def take(self, step: Step) -> None:
        """Take one step of a pipeline that is asked what would have opened."""
        self._now_s = step.now_s
        self._overloads.update(((each.supply, each.start_s), each) for each in step.overloads)
        self._events.update((event.id, event) for event in step.events)
        for load in step.loads:
            if load.heat is not None:
                self._highest[load.name] = max(self._highest.get(load.name, 0.0), min(1.0, load.heat))

    def verdicts(self) -> tuple[Verdict, ...]:
        """What can be said so far, in order of time; a supply whose protection is not known is left out."""
        opened = openings_of(self._layout, list(self._events.values())) if self._opened is None else self._opened
        found = [verdict for name in self._highest for verdict in self._of_supply(name, opened.get(name, ()))]
        return tuple(sorted(found, key=lambda verdict: -1.0 if verdict.at_s is None else verdict.at_s))

    def _of_supply(self, supply: str, opened: Sequence[Opening]) -> Iterator[Verdict]:
        overloads = [each for (name, _), each in sorted(self._overloads.items()) if name == supply]
        highest = max([self._highest[supply], *(each.heat for each in overloads)])
        due = [opening for opening in opened if opening.at_s <= self._now_s]
        answers = [(each, _recorded_in(each, due)) for each in overloads]
        verdicts = [_verdict(each, opening) for each, opening in answers if each.opens_at_s is not None or opening is not None]
        # The recorded one opened where this one would not even have been overloaded.
        verdicts += [
            Verdict(
                supply=supply,
                at_s=each.at_s,
                opens=False,
                recorded_s=each.at_s,
                share=0.0,
                heat=highest,
                after_short=each.after_short,
            )
            for each in due
            if each not in [opening for _, opening in answers]
        ]
        if not verdicts:
            share = max((each.share for each in overloads), default=0.0)
            yield Verdict(supply=supply, at_s=None, opens=False, recorded_s=None, share=share, heat=highest)
        yield from verdicts


def _recorded_in(overload: RecordedOverload, due: Sequence[Opening]) -> Opening | None:
    """The recorded opening that ended an overload."""
    end_s = float("inf") if overload.end_s is None else overload.end_s
    return next((each for each in due if overload.start_s - DEAD_WITHIN_S <= each.at_s <= end_s), None)


def _verdict(overload: RecordedOverload, opening: Opening | None) -> Verdict:
    recorded_s = None if opening is None else opening.at_s
    return Verdict(
        supply=overload.supply,
        at_s=recorded_s if overload.opens_at_s is None else overload.opens_at_s,
        opens=overload.opens_at_s is not None,
        recorded_s=recorded_s,
        share=overload.share,
        heat=overload.heat,
        after_short=opening is not None and opening.after_short,
    )


def openings(session: "SessionFolder") -> dict[str, list[Opening]]:
    """When each supply's protection opened, as the session itself says by its own layout, in order."""
    # Imported here: a capture needs none of it.
    from monitor.sessions.notice_rows import read_notices  # noqa: PLC0415 - start-up time

    return openings_of(session.layout(), read_notices(session, "events", Event))


def openings_of(layout: Layout, given: Sequence[Event]) -> dict[str, list[Opening]]:
    """When each supply's protection opened by what events say, in order."""
    supplies = {district.name: district.supply for district in layout.district}
    events = sorted(given, key=lambda each: each.start_s)
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
