"""The pattern book: what each district's events have in common: a place, a train, or nothing."""

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.places import SPOT_CAUSES, DistrictPlaces, History
from monitor.diagnosis.spot_search import NO_SIGN, Spot
from monitor.facts.circuits import Circuits
from monitor.facts.presence import hand_overs, train_present
from monitor.facts.ticks import KEPT_TICKS, TICK_S, Ticks
from monitor.layout import Layout
from monitor.values import Action, Cause, Pattern

Bools = NDArray[np.bool_]

EVERY_TICKS = 100
# Of 60 rehearsed worlds with a place, 1 was said to have none at 8 events, and 1 at 10.
ENOUGH_EVENTS = 8  # to say that there is no place
FEWEST_FOLLOWING = 5  # events of all districts that a train visits, to say that they follow it
FEWEST_EACH = 2  # events in each district that a train visits, to say that they follow it
PHASES_TOLD = 60
DISTURBING = (*SPOT_CAUSES, Cause.BINDING, Cause.SUPPLY_SAG, Cause.MAINS_DIP, Cause.FEED_LOST, Cause.PROTECTION_OPEN)
AROUND_S = 0.3
STANDS_S = 1.0  # a train without contact for longer stands


class PatternBook:
    """Events of all districts, and the patterns found in them so far.

    It looks every ten seconds of the stream, at what was known by then, so what it holds on to does not depend on how the stream
    was cut.
    """

    def __init__(self, layout: Layout, circuits: Circuits, ticks: Ticks) -> None:
        self._circuits = circuits
        self._ticks = ticks
        self._tracks = np.flatnonzero(circuits.is_track).tolist()
        self._places = {d: DistrictPlaces(layout.district[d].lap_s) for d in self._tracks}
        self._occurrences: dict[int, list[Occurrence]] = {d: [] for d in self._tracks}
        self._fresh: list[Occurrence] = []
        self._last_look = 0
        self._said: list[Pattern] = []

    def note(self, occurrence: Occurrence) -> None:
        """An event was told, perhaps not for the first time."""
        kept = self._occurrences.get(occurrence.district)
        if kept is None or any(occurrence is other for other in kept[-20:]):
            return
        kept.append(occurrence)
        if occurrence.cause in SPOT_CAUSES:
            self._fresh.append(occurrence)

    def mark(self, action: Action) -> None:
        """An operator saw a train pass a place."""
        for district, places in self._places.items():
            if action.district in (None, self._circuits.districts[district]):
                places.mark(action.at_s, action.text)

    def patterns(self, *, at_end: bool = False) -> list[Pattern]:
        """The patterns that changed since, looked for every ten seconds and at the end."""
        changed: list[Pattern] = []
        end = self._ticks.real_end
        looks = list(range((self._last_look // EVERY_TICKS + 1) * EVERY_TICKS, end + 1, EVERY_TICKS))
        for look in looks + ([end] if at_end else []):
            self._last_look = look
            if any(occurrence.first_tick < look for occurrence in self._fresh):
                changed += self._look(look)
        return changed

    def _look(self, look: int) -> list[Pattern]:
        histories, linked = self._histories(look)
        due = [occurrence for occurrence in self._fresh if occurrence.first_tick < look]
        self._fresh = [occurrence for occurrence in self._fresh if occurrence.first_tick >= look]
        for district, history in histories.items():
            own = [occurrence for occurrence in due if occurrence.district == district]
            if own and not self._places[district].look(history, [(o.start_s, o.cause) for o in own]):
                self._fresh += own
        found = [pattern for group in _groups(linked) for pattern in self._verdicts([self._tracks[k] for k in group], histories)]
        found.sort(key=lambda pattern: (pattern.start_s, pattern.districts))
        changed = [pattern for pattern in found if pattern not in self._said]
        self._said = found
        return changed

    def _verdicts(self, group: list[int], histories: dict[int, History]) -> list[Pattern]:
        """One verdict for each district, or group of districts that share a train, with enough events."""
        spots = {d: found for d in group if (found := self._places[d].spots(histories[d])) is not None}
        fixed = [d for d, (spot, _) in spots.items() if spot.is_fixed]
        told = [self._fixed(d, *spots[d]) for d in fixed]
        rest = [d for d in group if d not in fixed and self._places[d].contacts]
        counts = [self._places[d].contacts for d in rest]
        if len(rest) > 1 and min(counts) >= FEWEST_EACH and sum(counts) >= FEWEST_FOLLOWING:
            return [*told, self._elsewhere("follows-train", rest, [spots[d][0] for d in rest if d in spots])]
        scattered = [d for d in rest if self._places[d].contacts >= ENOUGH_EVENTS and spots[d][0].p_value > NO_SIGN]
        return told + [self._elsewhere("scattered", [d], [spots[d][0]]) for d in scattered]

    def _fixed(self, district: int, spot: Spot, causes: tuple[Cause, ...]) -> Pattern:
        return Pattern(
            verdict="fixed-spot",
            districts=(self._circuits.districts[district],),
            events=spot.events,
            lap_s=spot.lap_s,
            lap_fraction=spot.fraction,
            p_value=spot.p_value,
            start_s=spot.phases[0][0] if spot.phases else 0.0,
            phases=_told(spot.phases),
            spread=spot.spread,
            there=spot.there,
            latest=spot.latest,
            causes=causes,
            landmarks=self._places[district].landmarks(),
        )

    def _elsewhere(self, verdict: str, districts: list[int], spots: list[Spot]) -> Pattern:
        likeliest = min(spots, key=lambda spot: spot.p_value)
        return Pattern(
            verdict=verdict,  # type: ignore[arg-type]
            districts=tuple(self._circuits.districts[d] for d in districts),
            events=sum(self._places[d].contacts for d in districts),
            lap_s=likeliest.lap_s,
            lap_fraction=None,
            p_value=likeliest.p_value,
            start_s=float(min(self._places[d].first_s for d in districts)),
            phases=_told(tuple(sorted(pair for spot in spots for pair in spot.phases))),
        )

    def _histories(self, look: int) -> tuple[dict[int, History], Bools]:
        """What each track district did lately, and which of them share a train."""
        ticks = self._ticks
        first = max(ticks.base, look - KEPT_TICKS)
        rows = ticks.rows(first, look)
        live = [ticks.calm[rows, d] for d in self._tracks]
        amps = [ticks.amps[rows, d] for d in self._tracks]
        seen = [train_present(a, up) for a, up in zip(amps, live, strict=True)]
        here, tells = [mask for mask, _ in seen], np.array([tell for _, tell in seen], dtype=np.bool_)
        linked = hand_overs(here, tells, amps)
        for k in np.flatnonzero(~tells & linked.any(axis=0)).tolist():
            # Other trains stay here: the shared one is here while it is in none of the districts that tell.
            away = np.any([here[other] for other in np.flatnonzero(linked[k] & tells).tolist()], axis=0)
            here[k] = live[k] & ~away
        histories = {}
        for k, d in enumerate(self._tracks):
            stands = self._during(d, (Cause.LOST_CONTACT,), first, look, after_s=STANDS_S)
            histories[d] = History(
                start_s=first * TICK_S,
                volts=ticks.volts[rows, d],
                amps=amps[k],
                live=live[k],
                here=here[k],
                runs=live[k] & ~stands & (here[k] | linked[k].any()),
                disturbed=self._during(d, DISTURBING, first, look),
                moved=self._during(d, (Cause.THROTTLE,), first, look),
                breaks=self._begins(d, Cause.DIRECTION_BREAK, first, look),
            )
        return histories, linked

    def _during(self, district: int, causes: tuple[Cause, ...], first: int, look: int, after_s: float = -AROUND_S) -> Bools:
        """Ticks at which an event of these causes was going on: from so long after it began to a little after its end."""
        during = np.zeros(look - first, dtype=np.bool_)
        kept = self._occurrences[district]
        kept[:] = [o for o in kept if o.end_s is None or o.end_s + AROUND_S >= first * TICK_S]
        for occurrence in kept:
            if occurrence.cause in causes and occurrence.first_tick < look:
                end_s = look * TICK_S if occurrence.end_s is None else occurrence.end_s
                last = int((end_s + (AROUND_S if after_s < 0 else 0.0)) / TICK_S) + 1 - first
                during[max(0, int((occurrence.start_s + after_s) / TICK_S) - first) : max(0, last)] = True
        return during

    def _begins(self, district: int, cause: Cause, first: int, look: int) -> Bools:
        begins = np.zeros(look - first, dtype=np.bool_)
        at = [int(o.start_s / TICK_S) - first for o in self._occurrences[district] if o.cause is cause and o.first_tick < look]
        begins[[tick for tick in at if 0 <= tick < len(begins)]] = True
        return begins


def _groups(linked: Bools) -> list[list[int]]:
    """Districts that hand trains to one another, together; the others alone."""
    groups: list[list[int]] = []
    for k in range(len(linked)):
        joined = [group for group in groups if any(linked[k, other] for other in group)]
        rest = [group for group in groups if group not in joined]
        groups = [*rest, sorted([k, *(other for group in joined for other in group)])]
    return groups


def _told(phases: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((round(at_s, 2), round(phase, 3)) for at_s, phase in phases[-PHASES_TOLD:])
