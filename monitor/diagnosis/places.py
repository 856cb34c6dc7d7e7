"""Places: do a district's events come again at one spot of the lap, and at what kind of trouble?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.journey import Journey
from monitor.diagnosis.laps import LAPS_S, SPEED_POWERS, lap_correlations, level, paces
from monitor.diagnosis.spot_search import Spot, SpotSearch
from monitor.facts.ticks import TICK_S
from monitor.values import Cause
from monitor.values.arrays import Floats

Bools = NDArray[np.bool_]

# Dirt shows as one or the other, a loose joint as one, and a turnout that wheels bridge as shorts.
KINDS: tuple[tuple[Cause, ...], ...] = (
    (Cause.LOST_CONTACT, Cause.WEAK_JOINT),
    (Cause.LOST_CONTACT,),
    (Cause.WEAK_JOINT,),
    (Cause.SHORT,),
)
SPOT_CAUSES = tuple(dict.fromkeys(cause for kind in KINDS for cause in kind))
ENOUGH_TICKS = 300  # live ones, to know the usual volts
ANOTHER_KIND = 1e-4  # times the p-value: so much better must another kind's spot be than the one told
AMPS_WEIGHT = 8.0  # natural logarithm: what a full correlation of the amps says for a lap against none
NEWER_SHARE = 0.1  # of the history: so much of it must be new before the amps are asked again
SLOWEST = 0.01  # of the usual pace: no lap is longer than a hundred
HINT_WEIGHT = 4.0  # natural logarithm, for a lap that the layout file gives
HINT_WIDTH = 0.15  # of the lap: what the lap in the layout file may differ by


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What one district did lately; arrays of shape (ticks,).

    Attributes:
        start_s: Moment of the first tick.
        volts: Volts.
        amps: Amps.
        live: Volts are up.
        here: A train is in the district, as far as the amps tell.
        runs: A train moves, here or elsewhere.
        disturbed: An event makes the amps say nothing about the lap.
        moved: The throttle is on the move.
        breaks: A hand broke the volts in this tick.
    """

    start_s: float
    volts: Floats
    amps: Floats
    live: Bools
    here: Bools
    runs: Bools
    disturbed: Bools
    moved: Bools
    breaks: Bools


class DistrictPlaces:
    """Follows the places of one district.

    Attributes:
        contacts: How many lost contacts and weak joints there were.
        first_s: When the first of them was; inf before.
        usual_volts: Of the latest history.
    """

    def __init__(self, lap_hint_s: float | None) -> None:
        self.contacts = 0
        self.first_s = np.inf
        self.usual_volts = 0.0
        self._hint_s = lap_hint_s
        self._journey: Journey | None = None
        self._searches: list[SpotSearch] = []
        self._told: int | None = None
        self._landmarks: dict[str, tuple[float, float | None]] = {}
        self._prior: Floats | None = None
        self._prior_s = 0.0

    def look(self, history: History, events: Sequence[tuple[float, Cause]]) -> bool:
        """Go on to the end of a history.

        Args:
            history: Of the last minutes; it overlaps the one before.
            events: When each event not seen yet began, and its cause.

        Returns:
            Whether it was long enough; where not, the same events must come again.
        """
        live = history.volts[history.live]
        if self._journey is None:
            if len(live) < ENOUGH_TICKS:
                return False
            self._journey = Journey(history.start_s, float(np.median(live)))
            self._searches = [SpotSearch(self._journey, history.start_s) for _ in KINDS]
        self.usual_volts = float(np.median(live)) if len(live) else self._journey.usual_volts
        new = slice(max(0, round((self._journey.end_s - history.start_s) / TICK_S)), None)
        self._journey.extend(history.volts[new], history.runs[new], history.here[new], history.breaks[new])
        for at_s, cause in sorted(events, key=lambda event: event[0]):
            self.first_s = min(self.first_s, at_s)
            self.contacts += cause in KINDS[0]
            for kind, search in zip(KINDS, self._searches, strict=True):
                if cause in kind:
                    search.add(at_s)
        return True

    def mark(self, at_s: float, text: str) -> None:
        """A train passes a place now; the same words again take the place of the earlier ones."""
        self._landmarks.pop(text, None)
        self._landmarks[text] = (at_s, None)

    def landmarks(self) -> tuple[tuple[str, float], ...]:
        """Where on the lap the places are that trains were seen to pass, as far as that is known; the latest last."""
        if self._told is not None:
            search = self._searches[self._told]
            self._landmarks = {
                text: (at_s, _first(search.fraction_at(at_s), known)) for text, (at_s, known) in self._landmarks.items()
            }
        return tuple((text, fraction) for text, (_, fraction) in self._landmarks.items() if fraction is not None)

    def spots(self, history: History) -> tuple[Spot, tuple[Cause, ...]] | None:
        """The spot that stands out, of the kind that shows it best; else how the contacts lie. None before any event.

        Its lap is given in seconds at the volts that were usual lately.
        """
        if self._journey is None:
            return None
        if self._prior is None or self._journey.end_s - self._prior_s > NEWER_SHARE * len(history.volts) * TICK_S:
            self._prior, self._prior_s = self._log_prior(history, self._journey.usual_volts), self._journey.end_s
        found = [search.spot(self._prior) for search in self._searches]
        fixed = [k for k, spot in enumerate(found) if spot is not None and spot.is_fixed]
        best = min(fixed, key=lambda k: self._weight(k) * _p(found[k]), default=0)
        self._told = best if fixed else None
        spot = found[best]
        if spot is None or spot.lap_s is None:
            return None if spot is None else (spot, KINDS[best])
        pace = paces(np.array([self.usual_volts]), self._journey.usual_volts, np.ones(1, dtype=np.bool_))[spot.power, 0]
        lap_s = spot.lap_s / max(float(pace), SLOWEST) + self._searches[best].stands_s()
        return replace(spot, lap_s=lap_s), KINDS[best]

    def _weight(self, kind: int) -> float:
        return ANOTHER_KIND if kind == self._told else 1.0

    def _log_prior(self, history: History, usual_volts: float) -> Floats:
        """How likely each lap is before any event: what the amps say, and the layout file."""
        valid = history.live & history.runs & ~history.disturbed & ~history.moved
        shares = level(history.amps, valid, history.moved)
        pace = paces(history.volts, usual_volts, history.runs)
        favour = AMPS_WEIGHT * np.stack([lap_correlations(each, shares, valid) for each in pace])
        if self._hint_s:
            favour += HINT_WEIGHT * np.exp(-0.5 * (np.log(LAPS_S / self._hint_s) / HINT_WIDTH) ** 2)
        flat = favour.reshape(len(SPEED_POWERS) * len(LAPS_S))
        return np.asarray(flat - np.logaddexp.reduce(flat))


def _first(new: float | None, known: float | None) -> float | None:
    return known if new is None else new


def _p(spot: Spot | None) -> float:
    return 1.0 if spot is None else spot.p_value
