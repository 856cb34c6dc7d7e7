"""Places: do events fall at one spot of the lap, go with one train, or neither?"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis.laps import Track, laps, tracks
from monitor.diagnosis.presence import hand_overs, train_present
from monitor.diagnosis.rayleigh import Clustering, rayleigh, resultant_lengths
from monitor.diagnosis.recurrences import recurrences
from monitor.diagnosis.ticks import TICK_S
from monitor.values import Pattern

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_EVENTS = 6
ENOUGH_EVENTS = 8  # to say that there is no place
SIGNIFICANT = 0.01
LEAST_LENGTH = 0.55  # mean resultant length: half the events elsewhere is no spot
SURE = 0.001
SHARED_LENGTH = 0.42  # of two trains with laps of their own, one's events lie at the spot and the other's all round
REFINE_SHARE = 0.03
SHARED = 0.002  # of two trains with laps of their own, one's events recur; asked again and again, so chance gets little room
PHASES_TOLD = 60
SHORTEST_BY_EVENTS_S = 8.0
LAPS_BY_EVENTS = 4.0
MULTIPLES = (2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What one district did.

    Attributes:
        district: Its name.
        events_s: Shape (n,): moments of its events, seconds of the stream.
        start_s: Moment of the first tick.
        volts: Shape (ticks,).
        amps: Shape (ticks,).
        live: Shape (ticks,): volts are up.
        disturbed: Shape (ticks,): an event makes the amps say nothing about the lap.
        moved: Shape (ticks,): the throttle is on the move.
        lap_s: The lap time that the layout file gives, or None.
    """

    district: str
    events_s: Floats
    start_s: float
    volts: Floats
    amps: Floats
    live: Bools
    disturbed: Bools
    moved: Bools
    lap_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """How one district's events lie on the lap.

    Attributes:
        lap_s: Lap time in seconds.
        clustering: Of the events on the lap, the p-value corrected for the number of laps tried.
        phases: Shape (n,): where on the lap each event fell, 0-1.
    """

    lap_s: float | None
    clustering: Clustering
    phases: Floats = field(default_factory=lambda: np.zeros(0))

    @property
    def is_fixed(self) -> bool:
        """The events fall at one place."""
        p_value, length = self.clustering.p_value, self.clustering.length
        return (p_value < SIGNIFICANT and length > LEAST_LENGTH) or (p_value < SURE and length > SHARED_LENGTH)


_NOWHERE = Spot(lap_s=None, clustering=Clustering(0.0, 0.0, 1.0))


def patterns(histories: list[History]) -> list[Pattern]:
    """One verdict for each district, or group of districts that share a train, with enough events."""
    if sum(len(history.events_s) for history in histories) < LEAST_EVENTS:
        return []
    seen = [train_present(history.amps, history.live) for history in histories]
    present, tells = [mask for mask, _ in seen], np.array([tell for _, tell in seen])
    linked = hand_overs(present, tells, [history.amps for history in histories])
    for k in np.flatnonzero(~tells & linked.any(axis=0)).tolist():
        # Other trains stay here: the shared one is here while it is in none of the districts that tell.
        away = np.any([present[other] for other in np.flatnonzero(linked[k] & tells).tolist()], axis=0)
        present[k] = histories[k].live & ~away
    groups = _groups(linked)
    found = [pattern for group in groups for pattern in _verdicts([histories[k] for k in group], [present[k] for k in group])]
    return sorted(found, key=lambda pattern: (pattern.start_s, pattern.districts))


def spot(history: History, present: Bools) -> Spot:
    """Fold a district's events on each likely lap; the longest lap at which they cluster is the one.

    A train that is here for part of its lap only can have events there only, so phases are counted along the time it is here.
    """
    counted = tracks(history.volts, history.amps, history.live & ~history.disturbed, history.moved)
    laps_s = [(track, lap_s) for track in counted for lap_s in _candidates(track, history)]
    tried = [_corrected(_fold(track, history, present, lap_s), len(laps_s)) for track, lap_s in laps_s]
    fixed = [found for found in tried if found.is_fixed]
    if fixed:
        fixed += _longer(laps_s, tried, history, present)
        tightest = min(found.clustering.p_value for found in fixed)
        # Half the lap passes as well as the lap, so the longest counts, but not a chance one far weaker than the best.
        return max((found for found in fixed if found.clustering.p_value < tightest**0.6), key=lambda found: found.lap_s or 0.0)
    by_events = _by_events(counted[0], history, present) if counted else _NOWHERE
    if by_events.is_fixed:
        return by_events
    shared = [found for track in counted for found in _by_some(track, history, SHARED / len(counted))]
    if shared:
        return max(shared, key=lambda found: found.lap_s or 0.0)
    return min(tried, key=lambda found: found.clustering.p_value, default=_NOWHERE)


def _longer(laps_s: list[tuple[Track, float]], tried: list[Spot], history: History, present: Bools) -> list[Spot]:
    """Laps two or three times as long as one that passed: two hills alike look like one met twice as often."""
    found = []
    for (track, _), passed in zip(laps_s, tried, strict=True):
        if passed.is_fixed and passed.lap_s is not None:
            span_s = float(track.way_s[-1] - track.way_s[0])
            longer_s = [times * passed.lap_s for times in MULTIPLES if times * passed.lap_s < span_s / LAPS_BY_EVENTS]
            found += [_corrected(_fold(track, history, present, lap_s), len(laps_s) * len(MULTIPLES)) for lap_s in longer_s]
    return [each for each in found if each.is_fixed]


def _corrected(found: Spot, trials: float) -> Spot:
    """With the p-value of the best of so many tries (Bonferroni)."""
    return replace(found, clustering=found.clustering._replace(p_value=min(1.0, found.clustering.p_value * trials)))


def _by_events(track: Track, history: History, present: Bools) -> Spot:
    """Where the amps show no lap, or another train's, the events themselves may: any period counts as tried."""
    way = _way(track, history)
    span_s = float(way[-1] - way[0])
    shortest_s, longest_s = SHORTEST_BY_EVENTS_S, span_s / LAPS_BY_EVENTS
    if longest_s <= shortest_s:
        return _NOWHERE
    trials = span_s * (1 / shortest_s - 1 / longest_s)
    periods = 1 / np.linspace(1 / longest_s, 1 / shortest_s, int(6 * trials) + 2)
    lap_s = float(periods[int(np.argmax(resultant_lengths(way, periods)))])
    return _corrected(_fold(track, history, present, lap_s), trials)


def _by_some(track: Track, history: History, significant: float) -> list[Spot]:
    """Spots at which only some of the events lie: one train's. The longest lap counts, but not a far weaker one."""
    way = _way(track, history)
    if len(way) < ENOUGH_EVENTS:
        return []
    found = recurrences(way, SHORTEST_BY_EVENTS_S, float(way[-1] - way[0]) / LAPS_BY_EVENTS, significant)
    return [
        Spot(lap_s=r.period, clustering=rayleigh(way[-len(r.members) :][r.members] / r.period % 1.0)._replace(p_value=r.p_value))
        for r in found
        if r.p_value <= found[0].p_value ** 0.6
    ]


def _way(track: Track, history: History) -> Floats:
    """The way gone at each event."""
    return np.asarray(np.interp(history.events_s, history.start_s + np.arange(len(track.way_s)) * TICK_S, track.way_s))


def _candidates(track: Track, history: History) -> list[float]:
    found = laps(track)
    if not found:
        return [history.lap_s] if history.lap_s else []
    strongest = found[0].correlation
    strong = [lap.lap_s for lap in found if lap.correlation > 0.6 * strongest]
    if history.lap_s:
        strong = [lap for lap in strong if abs(lap / history.lap_s - 1) < 0.2] or [history.lap_s]
    # The correlation comes back at every whole number of laps: the shortest of each family is the lap.
    return [lap for lap in strong if not any(_is_multiple(lap, other) for other in strong)]


def _is_multiple(lap_s: float, other_s: float) -> bool:
    times = lap_s / other_s
    return round(times) >= 2 and abs(times - round(times)) < 0.04 * round(times) ** 0.5


def _fold(track: Track, history: History, present: Bools, lap_s: float) -> Spot:
    """Fold at this lap, sharpened a little by the events themselves."""
    way = _way(track, history)
    # Two periods differ once they drift apart by a good part of a lap over the whole way.
    turns = max(1.0, float(track.way_s[-1] - track.way_s[0]) / lap_s)
    steps = int(np.clip(np.ceil(2 * REFINE_SHARE * turns * 4), 3, 121))
    periods = lap_s * np.linspace(1 - REFINE_SHARE, 1 + REFINE_SHARE, steps)
    lap_s = float(periods[int(np.argmax(resultant_lengths(way, periods)))])
    fractions = _along_presence(track.way_s / lap_s % 1.0, present & history.live, way / lap_s % 1.0)
    clustering = rayleigh(fractions)
    trials = max(1.0, 2 * REFINE_SHARE * turns)
    mean = float(np.angle(np.exp(2j * np.pi * (way / lap_s)).sum()) / (2 * np.pi) % 1.0)
    corrected = Clustering(mean, clustering.length, min(1.0, clustering.p_value * trials))
    return Spot(lap_s=lap_s, clustering=corrected, phases=way / lap_s % 1.0)


def _along_presence(phases: Floats, present: Bools, at: Floats) -> Floats:
    """Phases counted along the share of the lap at which a train is here."""
    bins = 60
    time_here = np.bincount((phases[present] * bins).astype(np.intp) % bins, minlength=bins).astype(np.float64)
    if not time_here.sum():
        return at
    edges = np.concatenate([[0.0], np.cumsum(time_here) / time_here.sum()])
    return np.asarray(np.interp(at * bins, np.arange(bins + 1), edges))


def _groups(linked: Bools) -> list[list[int]]:
    """Districts that hand trains to one another, together; the others alone."""
    groups: list[list[int]] = []
    for k in range(len(linked)):
        joined = [group for group in groups if any(linked[k, other] for other in group)]
        rest = [group for group in groups if group not in joined]
        groups = [*rest, sorted([k, *(other for group in joined for other in group)])]
    return groups


def _verdicts(group: list[History], present: list[Bools]) -> list[Pattern]:
    with_events = [k for k, history in enumerate(group) if len(history.events_s)]
    spots = {k: spot(group[k], present[k]) for k in with_events if len(group[k].events_s) >= LEAST_EVENTS}
    fixed = [k for k, found in spots.items() if found.is_fixed]
    found = [_pattern("fixed-spot", [group[k]], spots[k]) for k in fixed]
    rest = [k for k in with_events if k not in fixed]
    shared = sum(len(group[k].events_s) for k in rest)
    if len(rest) > 1 and min(len(group[k].events_s) for k in rest) >= 2 and shared >= LEAST_EVENTS:
        likeliest = max((spots[k] for k in rest if k in spots), key=lambda s: -s.clustering.p_value, default=None)
        phases = [pair for k in rest if k in spots for pair in _phases(group[k], spots[k])]
        follows = _pattern("follows-train", [group[k] for k in rest], likeliest)
        return [*found, replace(follows, phases=tuple(sorted(phases)[-PHASES_TOLD:]))]
    scattered = [k for k in rest if k in spots and len(group[k].events_s) >= ENOUGH_EVENTS]
    return found + [_pattern("scattered", [group[k]], spots[k]) for k in scattered]


def _pattern(verdict: str, group: list[History], found: Spot | None) -> Pattern:
    fixed = verdict == "fixed-spot" and found is not None
    return Pattern(
        verdict=verdict,  # type: ignore[arg-type]
        districts=tuple(history.district for history in group),
        events=sum(len(history.events_s) for history in group),
        lap_s=None if found is None or found.lap_s is None else float(found.lap_s),
        lap_fraction=float(found.clustering.fraction) if fixed and found is not None else None,
        p_value=None if found is None or found.lap_s is None else float(found.clustering.p_value),
        start_s=min(float(history.events_s[0]) for history in group),
        phases=_phases(group[0], found) if len(group) == 1 and found is not None else (),
    )


def _phases(history: History, found: Spot) -> tuple[tuple[float, float], ...]:
    if len(found.phases) != len(history.events_s):
        return ()
    pairs = zip(history.events_s.tolist(), found.phases.tolist(), strict=True)
    return tuple((round(at_s, 2), round(phase, 3)) for at_s, phase in list(pairs)[-PHASES_TOLD:])
