"""The loads that a plan counts, each with where its figures come from: measured, of the layout file, or typical.

Typical draws are common practice, no published source: starting points to be replaced by a measurement.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.layout import Layout, Load
from monitor.planning.plan_file import Guess, Plan

COMMON_PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalDraw:
    """One row of the table.

    Attributes:
        name: What it is, in the trade's general words.
        kind: As in the layout file.
        low_amps: Lower end of what is usual.
        high_amps: Upper end.
        starting_factor: Starting draw over running draw.
        source: Where the figures come from.
    """

    name: str
    kind: Literal["locomotive", "lighting", "accessory"]
    low_amps: float
    high_amps: float
    starting_factor: float = 1.0
    source: str = COMMON_PRACTICE

    @property
    def running_amps(self) -> float:
        """A figure to plan with: three quarters of the way up the range."""
        return self.low_amps + 0.75 * (self.high_amps - self.low_amps)


TYPICAL_DRAWS = (
    TypicalDraw(name="engine, one open-frame motor", kind="locomotive", low_amps=1.5, high_amps=2.5, starting_factor=1.75),
    TypicalDraw(name="engine, two open-frame motors", kind="locomotive", low_amps=3.0, high_amps=5.0, starting_factor=1.75),
    TypicalDraw(name="engine, can motor", kind="locomotive", low_amps=0.5, high_amps=1.5, starting_factor=1.5),
    TypicalDraw(
        name="engine, two can motors, sound and smoke", kind="locomotive", low_amps=1.5, high_amps=3.0, starting_factor=1.5
    ),
    TypicalDraw(name="smoke unit", kind="locomotive", low_amps=0.3, high_amps=1.0),
    TypicalDraw(name="lit car, two filament lamps", kind="lighting", low_amps=0.2, high_amps=0.5, starting_factor=3.0),
    TypicalDraw(name="lit car, light-emitting diodes", kind="lighting", low_amps=0.02, high_amps=0.08),
    TypicalDraw(name="street or building lamp, filament", kind="lighting", low_amps=0.05, high_amps=0.25, starting_factor=3.0),
    TypicalDraw(name="solenoid switch machine, while it throws", kind="accessory", low_amps=1.5, high_amps=4.0),
    TypicalDraw(name="motor-driven accessory", kind="accessory", low_amps=0.5, high_amps=1.5, starting_factor=1.5),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedLoad:
    """A load and the source of its figures.

    Attributes:
        load: As the layout file has it, or made from a typical draw.
        source: Where its figures come from, in words.
        is_measured: Somebody learnt it from the running layout.
    """

    load: Load
    source: str
    is_measured: bool = False


def planned_loads(layout: Layout, plan: Plan | None = None) -> list[PlannedLoad]:
    """The layout file's loads, then those guessed by the table of typical draws."""
    guesses = plan.guess if plan is not None else ()
    return [*map(_own, layout.load), *(load for guess in guesses for load in _guessed(guess))]


def rides_in_train(load: Load) -> bool:
    """Whether a load runs with the train and cannot be wired elsewhere: engines, lit cars on a track, and smoke units by their name."""
    return load.kind == "locomotive" or "smoke" in load.name.lower()


def measured_words(loads: Sequence[PlannedLoad]) -> str:
    """How many of them were measured, for a person; empty where there are none."""
    if not loads:
        return ""
    measured = sum(each.is_measured for each in loads)
    return "all measured" if measured == len(loads) else f"{measured} of {len(loads)} measured"


def _own(load: Load) -> PlannedLoad:
    if load.measured_on is None:
        return PlannedLoad(load=load, source="layout file, not measured")
    spread = load.measured_spread_amps
    words = "" if spread is None else f", {spread[0]:.2f}-{spread[1]:.2f} A"
    return PlannedLoad(load=load, source=f"measured {load.measured_on}{words}", is_measured=True)


def _guessed(guess: Guess) -> list[PlannedLoad]:
    draw = next(draw for draw in TYPICAL_DRAWS if draw.name == guess.like)
    made = []
    for k in range(guess.count):
        load = Load(
            name=guess.like if guess.count == 1 else f"{guess.like} {k + 1}",
            district=guess.district,
            kind=draw.kind,
            running_amps=round(draw.running_amps, 3),
            starting_amps=round(draw.running_amps * draw.starting_factor, 3),
        )
        made.append(PlannedLoad(load=load, source=f"typical draw: {draw.source}"))
    return made
