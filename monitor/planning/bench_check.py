"""The bench check: may this supply be energised on this mains?

The rules lean to the safe side and defer to local codes and licensed practice. Sources: volts and hertz from transformer theory
(flux follows volts over hertz); toy limits of IEC 61558-2-7 as NEM 609:2010 section 6.1 repeats them (200 VA, 10 A, 24 V AC or 33 V
DC); the rest is common practice, no published source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

from monitor.layout import Condition, Mains, Supply
from monitor.layout.ratings import TOY_LIMIT_AMPS, TOY_LIMIT_VA, TOY_LIMIT_VOLTS

OLD_AFTER_YEARS = 50
FLUX_NOTE, FLUX_LIMIT = 1.03, 1.10
"""Core flux against the plate's: iron is worked near its knee, so ten per cent more already saturates it."""
VOLTS_TOLERANCE = 0.10
STARTER_VA = 25.0
"""Common practice, no published source."""


class Fitness(IntEnum):
    """The verdict, from best to worst."""

    FIT = 0
    UNKNOWN = 1
    REPAIR = 2
    DO_NOT_ENERGISE = 3

    @property
    def sentence(self) -> str:
        """The verdict in words."""
        return {
            Fitness.FIT: "Fit to use",
            Fitness.UNKNOWN: "Not yet judged: finish the bench check first",
            Fitness.REPAIR: "Fit only after a repair by someone competent",
            Fitness.DO_NOT_ENERGISE: "Do not energise",
        }[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason for a verdict.

    Attributes:
        fitness: How much it weighs.
        finding: What was found.
        remedy: What to do, or why nothing will do.
    """

    fitness: Fitness
    finding: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchVerdict:
    """The outcome of one supply's check.

    Attributes:
        supply: Its name.
        fitness: The worst of the reasons; UNKNOWN where questions that decide it are open.
        reasons: Worst first.
        open_questions: What still has to be looked at.
        notes: What to know about the plate.
    """

    supply: str
    fitness: Fitness
    reasons: tuple[Reason, ...]
    open_questions: tuple[str, ...]
    notes: tuple[str, ...]


DECIDING_QUESTIONS = {
    "enclosed": "Is it closed, with no live part within reach?",
    "cord": "Is the cord sound (not cloth, not cracked, not stiff)?",
    "breaker_present": "Is there a breaker or another overcurrent protection in it?",
    "safety_listed": "Does it carry a safety laboratory's mark?",
}


def check_bench(supply: Supply, mains: Mains, *, this_year: int, train_current: str | None = None) -> BenchVerdict:
    """Judge one supply.

    Args:
        supply: As its plate reads, with what the check found.
        mains: The local mains.
        this_year: For its age.
        train_current: "ac" or "dc" where the trains need one of them.
    """
    condition = supply.condition or Condition()
    reasons = [
        *_body_reasons(condition),
        *_age_reasons(condition, this_year),
        *_volts_reasons(supply, mains),
        *_hertz_reasons(supply, mains),
        *_current_reasons(supply, train_current),
    ]
    reasons.sort(key=lambda reason: -reason.fitness)
    open_questions = tuple(question for key, question in DECIDING_QUESTIONS.items() if getattr(condition, key) is None)
    worst = max((reason.fitness for reason in reasons), default=Fitness.FIT)
    if open_questions:
        worst = max(worst, Fitness.UNKNOWN)
    return BenchVerdict(
        supply=supply.name,
        fitness=worst,
        reasons=tuple(reasons),
        open_questions=open_questions,
        notes=tuple(_notes(supply)),
    )


def _reason(fitness: Fitness, finding: str, remedy: str) -> Reason:
    return Reason(fitness=fitness, finding=finding, remedy=remedy)


def _body_reasons(condition: Condition) -> Iterator[Reason]:
    if condition.enclosed is False:
        yield _reason(
            Fitness.DO_NOT_ENERGISE, "Live parts are within reach.", "Mains parts that can be touched can kill: retire it."
        )
    if condition.breaker_present is False:
        yield _reason(
            Fitness.DO_NOT_ENERGISE, "It has no breaker or other protection.", "A short on the track would burn it: retire it."
        )
    if condition.cord == "cloth":
        yield _reason(
            Fitness.DO_NOT_ENERGISE,
            "Its cord is cloth-covered.",
            "The rubber beneath has perished by now, inside the case too: retire it, or have it rebuilt and tested.",
        )
    yield from _repairs(condition)


def _repairs(condition: Condition) -> Iterator[Reason]:
    competent = "by someone competent before it is plugged in."
    if condition.cord in ("cracked", "stiff"):
        yield _reason(Fitness.REPAIR, f"Its cord is {condition.cord}.", f"Have the cord replaced {competent}")
    if condition.plug == "damaged":
        yield _reason(Fitness.REPAIR, "Its plug is damaged.", f"Have the plug replaced {competent}")
    if condition.strain_relief is False:
        yield _reason(
            Fitness.REPAIR, "Nothing holds the cord where it enters the case.", f"Have a strain relief fitted {competent}"
        )
    if condition.safety_listed is False:
        yield _reason(
            Fitness.REPAIR, "It carries no safety laboratory's mark.", f"Have it examined and its insulation tested {competent}"
        )
    if condition.polarised_plug is False and condition.earthed is False:
        yield _reason(
            Fitness.REPAIR,
            "Its plug goes in either way and its case is not earthed.",
            f"Have an earthed or polarised plug and cord fitted {competent}",
        )


def _age_reasons(condition: Condition, this_year: int) -> Iterator[Reason]:
    if condition.made_year is None or this_year - condition.made_year < OLD_AFTER_YEARS:
        return
    yield _reason(
        Fitness.REPAIR,
        f"It is {this_year - condition.made_year} years old.",
        "Insulation ages out of sight: have its insulation tested by someone competent before it is used.",
    )


def _volts_reasons(supply: Supply, mains: Mains) -> Iterator[Reason]:
    if supply.input_volts is None:
        return
    low, high = min(supply.input_volts), max(supply.input_volts)
    plate = f"{low:g} V" if low == high else f"{low:g}-{high:g} V"
    adapter = "A plug adapter changes the pins and nothing else; a converter changes volts but not hertz, and must carry the full rating."
    if mains.volts > high * (1 + VOLTS_TOLERANCE):
        yield _reason(
            Fitness.DO_NOT_ENERGISE, f"It is made for {plate}; the mains here is {mains.volts:g} V.", f"It would burn. {adapter}"
        )
    elif mains.volts < low * (1 - VOLTS_TOLERANCE):
        yield _reason(
            Fitness.REPAIR,
            f"It is made for {plate}; the mains here is only {mains.volts:g} V.",
            f"It gives about {mains.volts / low:.0%} of its volts here: use one made for this mains. {adapter}",
        )


def flux_ratio(supply: Supply, mains: Mains) -> float | None:
    """Core flux on this mains against the plate's: (volts / hertz) here over (volts / hertz) there; None where the plate is silent."""
    if not supply.input_volts or not supply.input_hertz:
        return None
    return (mains.volts / mains.hertz) / (max(supply.input_volts) / min(supply.input_hertz))


def _hertz_reasons(supply: Supply, mains: Mains) -> Iterator[Reason]:
    ratio = flux_ratio(supply, mains)
    if ratio is None or supply.input_hertz is None:
        return
    lowest = min(supply.input_hertz)
    if ratio > FLUX_LIMIT and mains.hertz < lowest:
        yield _reason(
            Fitness.DO_NOT_ENERGISE,
            f"It is made for {lowest:g} Hz; on {mains.hertz:g} Hz its core carries {ratio:.2f} times the flux it was made for.",
            "The iron saturates, the primary draws a heavy current without any load and overheats. No converter of volts changes that.",
        )
    elif ratio > FLUX_NOTE and mains.hertz < lowest:
        yield _reason(
            Fitness.REPAIR,
            f"It is made for {lowest:g} Hz; on {mains.hertz:g} Hz its core runs at {ratio:.2f} times its flux.",
            "It hums and runs hot: use one made for this mains, or ask someone competent.",
        )


def _current_reasons(supply: Supply, train_current: str | None) -> Iterator[Reason]:
    if train_current is None or supply.current == train_current:
        return
    words = {"ac": "alternating", "dc": "direct"}
    yield _reason(
        Fitness.REPAIR,
        f"It gives {words[supply.current]} current; these trains need {words[train_current]} current.",
        "Use it for accessories that take its current, not for these trains: the wrong one can burn a motor out.",
    )


def _notes(supply: Supply) -> Iterator[str]:
    yield from _plate_notes(supply)
    yield from _kind_notes(supply)
    amps = supply.plate_va / supply.max_volts
    limit_volts = TOY_LIMIT_VOLTS[supply.current]
    if supply.plate_va > TOY_LIMIT_VA or amps > TOY_LIMIT_AMPS + 1e-9 or supply.max_volts > limit_volts:
        yield (
            f"It is outside the limits for toy transformers of IEC 61558-2-7 (200 VA, 10 A, {limit_volts:g} V): "
            "treat it as a workshop supply, and add fuses on each output."
        )


def _plate_notes(supply: Supply) -> Iterator[str]:
    """What the plate's figure means."""
    if supply.rated_watts is not None:
        yield "The plate gives watts. With motors the volt-amperes are higher than the watts, so the plate is reached earlier than it seems."
    else:
        yield "The plate gives volt-amperes: volts times amps as meters show them, whatever the kind of load."
    if supply.rating_is == "input":
        yield "The plate rates the primary side: some of it turns to heat, so less comes out (common practice: 70-80 %)."
    yield f"The plate's {supply.plate_va:g} is the total over all outputs together; what accessories draw comes out of it."
    if supply.input_volts is None or supply.input_hertz is None:
        yield (
            "The mains volts or hertz of its plate are not in the layout file, so they were not compared with this mains: add input_volts "
            "and input_hertz (North American plates usually read 110, 115 or 120 V at 60 cycles)."
        )
    if supply.plate_va <= STARTER_VA:
        yield "A supply of this size comes with starter sets (20-25 VA): enough for one small engine and little else."


def _kind_notes(supply: Supply) -> Iterator[str]:
    """What comes out, and what its protection does."""
    if supply.current == "dc":
        yield "It gives direct current (a power pack or rectifier). Its accessory pair is usually alternating: measure it before use."
    reset = supply.condition.breaker_reset if supply.condition is not None else None
    if reset == "auto":
        yield "Its breaker comes back by itself: switch off and find the short first, or it heats up and opens again and again."
    if reset == "manual":
        yield "Its breaker stays open until it is reset by hand: find the short first, then reset it."
    yield "The breaker protects the house and the person, not the trains."
