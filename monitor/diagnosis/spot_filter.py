"""The spot filter: where on the lap one bad spot lies, followed from event to event, and how much the events speak for it.

A train counts its laps by a clock that is wrong by a little each lap: no one measures its speed. So the spot wanders on that clock,
and the filter follows it: for each lap length that is possible a density over the lap, spread out by the way gone since, thinned
where the train passed without an event, and raised where one happened (a Bayes filter of a point process; Brémaud, Point Processes
and Queues, 1981, chapter VI). The factor by which an event is likelier there than anywhere multiplies up to the evidence. Under
events at random that product is a nonnegative martingale of mean 1, so it exceeds 1/p at any time with a chance of p at most
(Ville's inequality; Ramdas et al., Statistical Science 38, 2023): it may be looked at after every event.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.values.arrays import Floats

BINS = 60
FINE = 16  # table steps a bin
AT_SPOT = (1.2, 2.0)  # before any event: as if so many of so many had been the spot's
AT_SPOT_BETWEEN = (0.2, 0.9)  # no smaller and no larger share of the events is taken to be the spot's
AT_SPOT_A_LAP = 0.9  # and no more events of the spot a lap: one train passes it once
NEAR = ((0.58, 0.015), (0.42, 0.06))  # shares of the spot's events, and how closely they hit it, in laps
WANDER = 0.01  # of a lap, a lap: how well a lap at unchanged volts repeats itself
WANDER_MOVED = 0.1  # of a lap, a lap, times the logarithm of volts over usual volts: what a speed power is wrong by
RESTARTED = 0.02  # of a lap: how far a train coasts to a stop and takes to gather way
FORGET = 0.01  # a lap: somebody may have lifted the train
TURNED = 0.25  # chance that a hand's break turned the train round or left it standing
ANOTHER_LAP = 0.003  # an event: somebody may have changed the engine, and so the lap


class _Tables(NamedTuple):
    """How much likelier an event of the spot is so far past it than anywhere, less one, and the same summed up from the spot on.

    A row for each step of the clock, a column for each place that the spot may be at.
    """

    likelier: Floats
    summed: Floats


def _tables() -> _Tables:
    x = np.arange(BINS * FINE) / (BINS * FINE)
    likelier = np.zeros(len(x))
    for share, width in NEAR:
        for turn in (-1, 0, 1):
            likelier += share * np.exp(-0.5 * ((x - turn) / width) ** 2) / (width * np.sqrt(2 * np.pi))
    likelier = likelier / likelier.mean() - 1
    past = (np.arange(len(x))[:, None] - FINE * np.arange(BINS)) % len(x)
    return _Tables(likelier[past], (np.cumsum(likelier) / len(x))[past])


_TABLES = _tables()
_PLACES = np.arange(BINS) / BINS
_WAVES = np.exp(2j * np.pi * _PLACES)
_BLUR = 2 * np.pi**2 * np.arange(BINS // 2 + 1) ** 2


class Gone(NamedTuple):
    """What a train did between two moments.

    Attributes:
        way_s: Shape (powers,): way gone, by each speed power, in seconds at the usual pace.
        moved_s: Shape (powers,): the same times the squared logarithm of volts over usual volts.
        here: An event could have happened: the train was in the district.
        restarts: How often it stopped and started.
        breaks: How often a hand broke the volts.
    """

    way_s: Floats
    moved_s: Floats
    here: bool = True
    restarts: int = 0
    breaks: int = 0


class SpotFilter:
    """One density a hypothesis, of where the spot lies on a clock that counts laps of that length.

    Attributes:
        laps_s: Shape (h,): lap lengths, seconds at the usual pace.
        power: Shape (h,): which speed power counts the way.
        log_evidence: Shape (h,): natural logarithm of how much the events speak for a spot on that lap.
        clock: Shape (h,): where on the lap the train is now, 0-1, by the uncorrected clock.
    """

    def __init__(self, laps_s: Floats, power: NDArray[np.intp]) -> None:
        self.laps_s = laps_s
        self.power = power
        self.log_evidence = np.zeros(len(laps_s))
        self.clock = np.zeros(len(laps_s))
        self._density = np.ones((len(laps_s), BINS))
        self._events = 0
        self._hits = np.zeros(len(laps_s))
        self._exposed_s = np.zeros(int(power.max()) + 1)

    def advance(self, gone: Gone) -> None:
        """The train went on, and nothing happened."""
        laps = np.maximum(gone.way_s[self.power] / self.laps_s, 0.0)
        moved = np.maximum(gone.moved_s[self.power] / self.laps_s, 0.0)
        variance = WANDER**2 * laps + WANDER_MOVED**2 * moved + RESTARTED**2 * gone.restarts
        blurred = np.fft.rfft(self._density, axis=1) * np.exp(-_BLUR * variance[:, None])
        kept = (1 - np.minimum(FORGET * laps, 0.3)) * (1 - TURNED) ** min(gone.breaks, 3)
        self._density = np.maximum(np.fft.irfft(blurred, BINS, axis=1), 1e-6) * kept[:, None] + (1 - kept)[:, None]
        before = self.clock
        self.clock = before + laps
        if gone.here:
            self._exposed_s += gone.way_s
            share, a_lap = self._expected()
            passed = _TABLES.summed[_index(self.clock)] - _TABLES.summed[_index(before)]
            self._weigh(np.exp(-(share * a_lap)[:, None] * passed))
        self.clock = self.clock % 1.0

    def event(self, back_s: Floats) -> None:
        """Something happened.

        Args:
            back_s: Shape (powers,): way gone since then.
        """
        at = self.clock - back_s[self.power] / self.laps_s
        share = self._expected()[0]
        likelier = self._weigh(1 + share[:, None] * _TABLES.likelier[_index(at)])
        self._hits += 1 - (1 - share) / np.maximum(likelier, 1 - share)  # chance that this one was the spot's (Bayes)
        self._events += 1
        highest = self.log_evidence.max()
        evidence = np.exp(self.log_evidence - highest)
        self.log_evidence = highest + np.log((1 - ANOTHER_LAP) * evidence + ANOTHER_LAP * evidence.mean())

    def begin_again(self) -> None:
        """Let the evidence so far go; where the spot may lie stays known."""
        self.log_evidence = np.zeros(len(self.laps_s))

    def place(self, hypothesis: int = 0) -> float:
        """Where the spot most likely is on one hypothesis' clock, 0-1."""
        return float(np.angle((self._density[hypothesis] * _WAVES).sum()) / (2 * np.pi) % 1.0)

    def _expected(self) -> tuple[Floats, Floats]:
        """Share of the events that are the spot's, and events a lap, from those so far; both of shape (h,)."""
        rate = (self._events + 0.5) / np.maximum(self._exposed_s, 1.0)
        a_lap = rate[self.power] * self.laps_s
        share = np.clip((self._hits + AT_SPOT[0]) / (self._events + AT_SPOT[1]), *AT_SPOT_BETWEEN)
        return np.minimum(share, AT_SPOT_A_LAP / a_lap), a_lap

    def _weigh(self, factor: Floats) -> Floats:
        self._density = self._density * factor
        mean = self._density.mean(axis=1)
        self.log_evidence = self.log_evidence + np.log(mean)
        self._density /= mean[:, None]
        return np.asarray(mean)


def _index(clock: Floats) -> NDArray[np.intp]:
    """Rows of the tables, shape (h,): whole turns add nothing there."""
    return np.floor(clock * (BINS * FINE)).astype(np.intp) % (BINS * FINE)
