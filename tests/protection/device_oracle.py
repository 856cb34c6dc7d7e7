"""Protective devices drawn at random, with equations of their own, solved by scipy: they share no code with what they check.

A thermal one is a bimetal in a room: C T' = R I^2 - (T - room) / W, opening at a temperature (first-order replica of IEC 60255-149,
written in degrees). An electronic one counts by the very inverse curve of IEC 60255-151, 13.5 k / (M - 1), and forgets below its
pick-up. A fuse is an element whose resistance rises with its temperature and that melts. Each device takes up to a quarter more or
less time and holds up to a tenth more or less than its data sheet says (common practice), in a room of 10 to 40 degrees.
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from monitor.protection import Asked, Judge
from tests.protection.streams import layout_with, readings

RATED_AMPS = 10.0
POINTS_AT = {"thermal": (1.35, 2.0, 3.0), "electronic": (1.2, 1.5, 2.0, 3.0), "fuse": (1.35, 2.0, 3.0)}
ROOM = 25.0
OPENS_AT = {"thermal": 100.0, "fuse": 325.0}
RESISTANCE_RISE = 0.002
"""A fuse's, per degree: with it, the element runs away well below what it would carry cold."""
MOST_S = 900.0


@dataclass(frozen=True)
class Device:
    """One device.

    Attributes:
        kind: "thermal", "electronic" or "fuse".
        time: Times its data sheet's.
        hold: Times what its data sheet's holds.
        room: Degrees around it.
        seconds: Its time constant, or what its curve is multiplied by.
    """

    kind: str
    seconds: float
    time: float = 1.0
    hold: float = 1.0
    room: float = ROOM

    @property
    def hold_amps(self):
        return RATED_AMPS * {"thermal": 1.1, "electronic": 1.08, "fuse": 1.15}[self.kind] * self.hold

    def rate(self, amps, state):
        """How fast its state (degrees, or the share used up) changes."""
        multiple = amps / self.hold_amps
        if self.kind == "electronic":
            room = 1 - 0.001 * (self.room - ROOM)
            over = multiple / room - 1
            return over / (self.seconds * self.time) if over > 0 else -state / 1.0
        rise = OPENS_AT[self.kind] - ROOM
        heating = multiple**2 * rise
        if self.kind == "fuse":
            heating *= (1 + RESISTANCE_RISE * (state - ROOM)) / (1 + RESISTANCE_RISE * rise)
        return (heating - (state - self.room)) / (self.seconds * self.time)

    @property
    def cold(self):
        return 0.0 if self.kind == "electronic" else self.room

    @property
    def opens_at(self):
        return 1.0 if self.kind == "electronic" else OPENS_AT[self.kind]

    def opens_s(self, draw, start=None, until_s=MOST_S):
        """When it opens under a draw (a function of seconds) from a state; infinite where it does not."""

        def opens(_t, state):
            return state[0] - self.opens_at

        opens.terminal, opens.direction = True, 1
        solved = solve_ivp(
            lambda t, state: [self.rate(draw(t), state[0])], (0, until_s), [self.cold if start is None else start],
            events=opens, max_step=0.25, rtol=1e-4,
        )  # fmt: skip
        return float(solved.t_events[0][0]) if len(solved.t_events[0]) else np.inf

    @property
    def points(self):
        """The data sheet of its kind: typical, at room temperature."""
        typical = Device(self.kind, self.seconds)
        return tuple((multiple, typical.opens_s(lambda _t, m=multiple: m * RATED_AMPS)) for multiple in POINTS_AT[self.kind])


def device(kind, rng):
    """One drawn at random."""
    seconds = {"thermal": (25.0, 120.0), "electronic": (3.0, 12.0), "fuse": (8.0, 40.0)}[kind]
    return Device(
        kind, rng.uniform(*seconds), time=rng.uniform(0.75, 1.25), hold=rng.uniform(0.9, 1.1), room=rng.uniform(10.0, 40.0)
    )


def step(rng):
    base, level, at_s = rng.uniform(3, 6), rng.uniform(13, 20), rng.uniform(10, 60)
    return lambda t: np.where(t < at_s, base, level)


def ramp(rng):
    base, level, at_s, over_s = rng.uniform(4, 8), rng.uniform(14, 20), rng.uniform(10, 30), rng.uniform(30, 120)
    return lambda t: np.interp(t, (at_s, at_s + over_s), (base, level))


def two_step(rng):
    base, first, second = rng.uniform(3, 6), rng.uniform(8.5, 13.5), rng.uniform(13.5, 20)
    at_s = rng.uniform(10, 30)
    then_s = at_s + rng.uniform(15, 60)
    return lambda t: np.where(t < at_s, base, np.where(t < then_s, first, second))


def laps(rng):
    base, high, lap_s, part = rng.uniform(5, 8), rng.uniform(14, 20), rng.uniform(10, 30), rng.uniform(0.35, 0.65)
    phase_s, begin_s = rng.uniform(0, 30), rng.uniform(5, 30)
    return lambda t: np.where((t < begin_s) | ((t + phase_s) % lap_s > part * lap_s), base, high)


PROFILES = {"step": step, "ramp": ramp, "two-step": two_step, "laps": laps}


def layout_for(true, *, points=True):
    """The layout file of one who knows the kind, the rating and, perhaps, the data sheet."""
    sheet = ", ".join(f"[{multiple}, {seconds:.4f}]" for multiple, seconds in true.points)
    return layout_with(
        f"[supply.protection]\nkind = '{true.kind}'\nrated_amps = 10\n" + (f"points = [{sheet}]\n" if points else "")
    )


def countdown(kind, profile, rng, *, points=True):
    """Seconds truly left and the forecast, every two seconds while a warning stands; None where this one never opens.

    The draw wavers by a percent.
    """
    true, draw = device(kind, rng), PROFILES[profile](rng)
    opens_s = true.opens_s(lambda t: float(draw(t)))
    if not np.isfinite(opens_s):
        return None
    whole = readings(
        opens_s + 1.0,
        lambda t: np.where(t < opens_s, draw(t) * (1 + 0.01 * rng.normal(size=t.shape)), 0.0),
        lambda t: 0 * t,
        lambda t: np.where(t < opens_s, 14.0, 0.0),
        interval_s=0.1,
    )
    judge = Judge(layout_for(true, points=points), Asked(forecasts=True))
    judge.feed(whole)
    return [(opens_s - each.at_s, each.forecast) for each in judge.drain()[0] if each.at_s < opens_s]


def is_inside(left_s, forecast):
    return forecast.earliest_s <= left_s and (forecast.latest_s is None or left_s <= forecast.latest_s)
