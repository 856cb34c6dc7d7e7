"""Supplies drawn at random, and a meter that reads them: nothing here is shared with the code that works terminals out.

Source: textbook phasors on one axis; ranges of volts are common practice, no published source.
"""

import itertools
import random
from dataclasses import dataclass, field

NAMES = ["U", "A", "B", "C", "D", "V", "W", "1", "2", "3", "10", "~", "+", "L1", "0-14"]
THROTTLES = [f"throttle {k + 1}" for k in range(9)]
KINDS = (
    "throttles only",
    "throttles and taps",
    "several windings",
    "two posts",
    "isolated pairs",
    "pack, DC side",
    "pack, AC side",
)


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


class _Draw:
    """Draws the windings of one supply."""

    def __init__(self, rng):
        self.rng, self.windings = rng, []
        self.names = iter(rng.sample(NAMES, len(NAMES)))
        self.throttles = iter(THROTTLES)
        self.top = rng.choice([12.0, 14.0, 16.0, 18.0, 20.0, 22.0])

    def winding(self, variable, constant):
        rng, drawn = self.rng, DrawnWinding(next(self.names))
        for _ in range(variable):
            low = rng.choice([0.0, round(rng.uniform(3, 8), 1)])
            drawn.posts[next(self.names)] = (low, round(max(low + 4, self.top * rng.uniform(0.8, 1.0)), 1), next(self.throttles))
        for _ in range(constant):
            volts = rng.choice([1, 1, 1, -1]) * round(rng.uniform(5, min(self.top, 16)), 1)
            drawn.posts[next(self.names)] = (volts, volts, None)
        self.windings.append(drawn)

    def two_posts(self):
        self.winding(*self.rng.choice([(1, 0), (0, 1)]))

    def kind(self, kind):
        """Draw the windings; the number of posts that show nothing on this meter."""
        rng = self.rng
        if kind == "throttles only":
            self.winding(rng.randint(2, 9), 0)
        elif kind == "throttles and taps":
            variable = rng.randint(1, 4)
            self.winding(variable, rng.randint(1, min(4, 9 - variable)))
        elif kind == "several windings":
            self.winding(rng.randint(1, 2), rng.randint(0, 1))
            for _ in range(rng.randint(1, 2)):
                rng.choice([self.two_posts, lambda: self.winding(rng.randint(1, 2), 0)])()
        elif kind == "isolated pairs":
            for _ in range(rng.randint(2, 5)):
                self.two_posts()
        elif kind == "two posts":
            self.two_posts()
        else:
            self.winding(*((1, 0) if kind == "pack, DC side" else (0, 1)))
        return 2 if kind.startswith("pack") else 0


def draw_supply(rng, *, gaussian=False, kind=None):
    """A supply of a kind, any kind by default."""
    kind = kind or rng.choice(KINDS)
    draw = _Draw(rng)
    silent = [next(draw.names) for _ in range(draw.kind(kind))]
    terminals = [name for drawn in draw.windings for name in drawn.names] + silent
    rng.shuffle(terminals)
    posts = [post for drawn in draw.windings for post in drawn.posts.values()]
    highest = max(abs(volts) for post in posts for volts in post[:2])
    throttles = sorted({post[2] for post in posts if post[2]}, key=THROTTLES.index)
    if kind == "pack, AC side" and rng.random() < 0.5:
        throttles = [THROTTLES[8]]
    plate = rng.choice([None, highest, round(highest * rng.uniform(0.9, 1.05))])
    meter = "dc" if kind == "pack, DC side" else "ac"
    # A meter on DC shows no phantoms: they are alternating.
    phantom = rng.choice([0.0, 0.0, 0.0, 2.0, 5.0]) if meter == "ac" else 0.0
    return DrawnSupply(kind, terminals, draw.windings, throttles, plate, meter, phantom, gaussian, rng)
