"""Supplies drawn at random, and a meter that reads them: nothing here is shared with the code that works terminals out.

Source: textbook phasors on one axis; ranges of volts are common practice, no published source.
"""

import itertools
import random
from dataclasses import dataclass, field

NAMES = ["U", "A", "B", "C", "D", "V", "W", "1", "2", "3", "10", "~", "+", "L1", "0-14"]
KINDS = ("throttles only", "throttles and taps", "several windings", "two posts", "isolated pairs", "pack, DC side", "pack, AC side")


@dataclass
class DrawnWinding:
    """Posts by name: (volts low, volts up, throttle or None) against the first post."""

    common: str
    posts: dict = field(default_factory=dict)

    def volts(self, name, up):
        if name == self.common:
            return 0.0
        low, high, throttle = self.posts[name]
        return high if throttle is not None and throttle == up else low

    @property
    def names(self):
        return [self.common, *self.posts]


@dataclass
class DrawnSupply:
    kind: str
    terminals: list
    windings: list
    throttles: list
    max_volts: float | None
    meter: str
    phantom: float
    gaussian: bool
    rng: random.Random

    def show(self, up, one, other):
        """What the meter shows."""
        for winding in self.windings:
            if one in winding.names and other in winding.names:
                return self.scattered(abs(winding.volts(one, up) - winding.volts(other, up)))
        return self.scattered(self.rng.uniform(0, self.phantom))

    def scattered(self, volts):
        if self.gaussian:
            return round(abs(volts * self.rng.gauss(1, 0.02) + self.rng.gauss(0, 0.2)), 2)
        return round(abs(volts * (1 + self.rng.uniform(-0.02, 0.02)) + self.rng.uniform(-0.2, 0.2)), 2)

    def pairs(self):
        return [f"{one}-{other}" for one, other in itertools.combinations(self.terminals, 2)]


def draw_supply(rng, *, gaussian=False, kind=None):
    kind = kind or rng.choice(KINDS)
    names = rng.sample(NAMES, len(NAMES))
    throttles = [f"throttle {k + 1}" for k in range(9)]
    used = iter(throttles)
    meter = "dc" if kind == "pack, DC side" else "ac"
    taken = iter(names)
    windings, silent = [], []
    top = rng.choice([12.0, 14.0, 16.0, 18.0, 20.0, 22.0])

    def winding(variable, constant):
        drawn = DrawnWinding(next(taken))
        for _ in range(variable):
            low = rng.choice([0.0, round(rng.uniform(3, 8), 1)])
            drawn.posts[next(taken)] = (low, round(max(low + 4, top * rng.uniform(0.8, 1.0)), 1), next(used))
        for _ in range(constant):
            sign = rng.choice([1, 1, 1, -1])
            volts = sign * round(rng.uniform(5, min(top, 16)), 1)
            drawn.posts[next(taken)] = (volts, volts, None)
        windings.append(drawn)

    if kind == "throttles only":
        winding(rng.randint(2, 9), 0)
    elif kind == "throttles and taps":
        variable = rng.randint(1, 4)
        winding(variable, rng.randint(1, min(4, 9 - variable)))
    elif kind == "several windings":
        for k in range(rng.randint(2, 3)):
            if k == 0 or rng.random() < 0.5:
                winding(rng.randint(1, 2), rng.randint(0, 0 if k else 1))
            else:
                winding(*rng.choice([(1, 0), (0, 1)]))
    elif kind == "two posts":
        winding(*rng.choice([(1, 0), (0, 1)]))
    elif kind == "isolated pairs":
        for _ in range(rng.randint(2, 5)):
            winding(*rng.choice([(1, 0), (0, 1)]))
    elif kind == "pack, DC side":
        winding(1, 0)
        silent = [next(taken), next(taken)]
    else:
        winding(0, 1)
        silent = [next(taken), next(taken)]
    terminals = [name for drawn in windings for name in drawn.names] + silent
    rng.shuffle(terminals)
    highest = max(abs(volts) for drawn in windings for post in drawn.posts.values() for volts in post[:2])
    named = sorted({post[2] for drawn in windings for post in drawn.posts.values() if post[2]}, key=throttles.index)
    if kind == "pack, AC side" and rng.random() < 0.5:
        named = ["throttle 9"]
    plate = rng.choice([None, highest, round(highest * rng.uniform(0.9, 1.05))])
    # A meter on DC shows no phantoms: they are alternating.
    phantom = rng.choice([0.0, 0.0, 0.0, 2.0, 5.0]) if meter == "ac" else 0.0
    return DrawnSupply(kind, terminals, windings, named, plate, meter, phantom, gaussian, rng)
