"""The loads that a plan reckons with, each with where its figures come from."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.layout import Layout, Load
from monitor.planning.plan_file import Guess, Plan
from monitor.planning.typical_draws import TYPICAL_DRAWS


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
