"""The bench check: may this supply be energised on this mains?

The rules lean to the safe side and defer to local codes and licensed practice. ``fit`` needs every answer that bears on safety. Sources:
tests of a used appliance, DIN VDE 0701 (its successors EN 50678 and EN 50699 kept the figures); the rest is common practice, no
published source.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum

from monitor.errors import LayoutError
from monitor.layout import Condition, Layout, Mains, Supply
from monitor.layout.ratings import output_current
from monitor.layout.schema import BenchRecord
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.plate import added_protection, match_mains, plate_notes

OLD_AFTER_YEARS = 50
LEAST_MEGOHMS = {True: 1.0, False: 2.0}
"""By earthed or not: insulation resistance of classes I and II (DIN VDE 0701)."""
TEST_VOLTS = 500.0
"""DC volts of the instrument (DIN VDE 0701)."""
MOST_EARTH_OHMS = 0.3
"""From earth pin to case, cord up to 5 m (DIN VDE 0701)."""
TEST_GOOD_DAYS = 365
"""Where who tested gave no date: common practice, no published source."""
COMPETENT = "by someone competent before it is plugged in."


class Fitness(IntEnum):
    """The verdict, from best to worst."""

    FIT = 0
    NOT_JUDGED = 1
    REPAIR_FIRST = 2
    NOT_HERE = 3
    DO_NOT_ENERGISE = 4

    @property
    def sentence(self) -> str:
        """The verdict in words."""
        return {
            Fitness.FIT: "Fit to use",
            Fitness.NOT_JUDGED: "Not judged yet: finish the bench check first, and do not plug it in before",
            Fitness.REPAIR_FIRST: "Repair first: not to be plugged in before",
            Fitness.NOT_HERE: "Not for use here",
            Fitness.DO_NOT_ENERGISE: "Do not energise",
        }[self]

    @property
    def word(self) -> str:
        """The verdict as the machine-readable form has it."""
        return self.name.lower().replace("_", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason for a verdict.

    Attributes:
        fitness: How much it weighs.
        remedy: What to do, or why nothing will do.
        is_final: No reason given by a person sets it aside.
    """

    fitness: Fitness
    finding: str
    remedy: str
    is_final: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchVerdict:
    """The outcome of one supply's check.

    Attributes:
        fitness: The worst of the reasons; NOT_JUDGED where questions that bear on safety are open and nothing worse was found.
        open_questions: (key of the layout file, question) for what still has to be looked at.
        notes: What to know about the plate.
    """

    supply: str
    fitness: Fitness
    reasons: tuple[Reason, ...]
    open_questions: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]

    @property
    def is_fit(self) -> bool:
        """It may be energised, measured live, wired and given load."""
        return self.fitness is Fitness.FIT

    @property
    def why(self) -> str:
        """The verdict with the first thing that makes it so."""
        if self.reasons:
            return f"{self.fitness.sentence}. {self.reasons[0].finding}"
        return f"{self.fitness.sentence}. {self.open_questions[0][1]}" if self.open_questions else f"{self.fitness.sentence}."


SAFETY_QUESTIONS = {
    "enclosed": "Is it closed, with no live part within reach?",
    "cord": "Is the cord sound (not cloth, not cracked, not stiff)?",
    "plug": "Is the plug sound?",
    "strain_relief": "Is the cord held firmly where it enters the case?",
    "breaker_present": "Is there a breaker or another overcurrent protection in it?",
    "safety_listed": "Does it carry a safety laboratory's mark?",
}


def today_here() -> dt.date:
    """The date where this computer is."""
    return dt.datetime.now().astimezone().date()


def check_all(layout: Layout, plan: Plan, *, today: dt.date, trains: str | None = None) -> tuple[BenchVerdict, ...]:
    """Judge every supply of a layout, in file order; trains ("ac" or "dc") stands in place of what the plan file says."""
    return tuple(
        check_bench(supply, layout.mains, today=today, trains=trains or plan.trains, gives=_gives_trains(layout, supply))
        for supply in layout.supply
    )


def check_candidate(candidate: Candidate, mains: Mains, *, today: dt.date) -> BenchVerdict:
    """Judge a supply that could be bought by what its seller said: what is open is to be asked, and looked at before it is plugged in."""
    return check_bench(candidate.as_supply(), mains, today=today)


def check_bench(
    supply: Supply, mains: Mains, *, today: dt.date, trains: str | None = None, gives: frozenset[str] | None = None
) -> BenchVerdict:
    """Judge one supply.

    Args:
        supply: As its plate reads, with what the check found.
        mains: The local mains.
        today: For its age and its tests.
        trains: "ac" or "dc" where the trains need one of them.
        gives: What comes out of the outputs that are for trains; the supply's own current when None.
    """
    condition = supply.condition or Condition()
    match = match_mains(supply, mains)
    reasons = [
        *_body_reasons(condition),
        *_protection_reasons(supply, condition),
        *_test_reasons(condition),
        *_age_and_mark_reasons(condition, today),
        *_current_reasons(frozenset({supply.current}) if gives is None else gives, trains),
    ]
    if match.misfit:
        reasons.append(Reason(fitness=Fitness.NOT_HERE, finding=match.misfit, remedy=match.remedy, is_final=match.burns))
    reasons.sort(key=lambda reason: (-reason.fitness, not reason.is_final))
    open_questions = (*_open_questions(supply, condition, today), *match.questions)
    worst = max((reason.fitness for reason in reasons), default=Fitness.FIT)
    return BenchVerdict(
        supply=supply.name,
        fitness=max(worst, Fitness.NOT_JUDGED) if open_questions else worst,
        reasons=tuple(reasons),
        open_questions=open_questions,
        notes=tuple(note for note in (match.note, *plate_notes(supply)) if note),
    )


def good_until(record: BenchRecord) -> dt.date:
    """Until when a test or an examination counts."""
    if record.good_until is not None:
        return _day(record.good_until)
    return _day(record.on) + dt.timedelta(days=TEST_GOOD_DAYS)


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise LayoutError(f"there is no day {text}: correct it", key="condition.record") from error


def _gives_trains(layout: Layout, supply: Supply) -> frozenset[str]:
    """What comes out where trains run on it; of a supply without districts what all its outputs give; nothing where accessories alone do."""
    districts = layout.districts_of_supply(supply.name)
    used = {district.output for district in districts if district.use == "track"}
    if districts and not used:
        return frozenset()
    outputs = [output for output in layout.output if output.supply == supply.name and (not used or output.name in used)]
    return frozenset(output_current(output, supply) for output in outputs) or frozenset({supply.current})


def _open_questions(supply: Supply, condition: Condition, today: dt.date) -> Iterator[tuple[str, str]]:
    yield from ((key, question) for key, question in SAFETY_QUESTIONS.items() if getattr(condition, key) is None)
    if supply.protection is None or supply.protection.kind == "unknown":
        yield "protection", "What opens when too much is drawn (thermal breaker, electronic, fuse, none), and at how many amps?"
    if condition.made_year is None and _passed(condition, today) is None:
        yield "made_year", "In which year was it made, or when was its insulation last tested?"


def _reason(fitness: Fitness, finding: str, remedy: str, *, is_final: bool = False) -> Reason:
    return Reason(fitness=fitness, finding=finding, remedy=remedy, is_final=is_final)


def _body_reasons(condition: Condition) -> Iterator[Reason]:
    if condition.enclosed is False:
        yield _reason(
            Fitness.DO_NOT_ENERGISE,
            "Live parts are within reach.",
            "Mains parts that can be touched can kill: retire it.",
            is_final=True,
        )
    if condition.cord == "cloth":
        yield _reason(
            Fitness.DO_NOT_ENERGISE,
            "Its cord is cloth-covered.",
            "The rubber beneath has perished by now, inside the case too: retire it, or have it rebuilt and tested.",
        )
    if condition.cord in ("cracked", "stiff"):
        yield _reason(Fitness.REPAIR_FIRST, f"Its cord is {condition.cord}.", f"Have the cord replaced {COMPETENT}")
    if condition.plug == "damaged":
        yield _reason(Fitness.REPAIR_FIRST, "Its plug is damaged.", f"Have the plug replaced {COMPETENT}")
    if condition.strain_relief is False:
        yield _reason(
            Fitness.REPAIR_FIRST, "Nothing holds the cord where it enters the case.", f"Have a strain relief fitted {COMPETENT}"
        )
    if condition.polarised_plug is False and condition.earthed is False:
        yield _reason(
            Fitness.REPAIR_FIRST,
            "Its plug goes in either way and its case is not earthed.",
            f"Have an earthed or polarised plug and cord fitted {COMPETENT}",
        )


def _protection_reasons(supply: Supply, condition: Condition) -> Iterator[Reason]:
    if condition.breaker_present is not False and (supply.protection is None or supply.protection.kind != "none"):
        return
    yield _reason(
        Fitness.DO_NOT_ENERGISE,
        "It has no breaker or other overcurrent protection.",
        f"A short on the track would burn it: retire it, or have protection added. {added_protection(supply)}",
    )


def _latest(condition: Condition, what: str) -> BenchRecord | None:
    return max((record for record in condition.record if record.what == what), key=lambda record: record.on, default=None)


def _passed(condition: Condition, today: dt.date) -> BenchRecord | None:
    """The insulation test that counts today: the latest, passed, with enough volts."""
    test = _latest(condition, "insulation-test")
    if test is None or test.megohms is None or (test.test_volts or 0.0) < TEST_VOLTS:
        return None
    in_time = _day(test.on) <= today <= good_until(test)
    return test if in_time and test.megohms >= LEAST_MEGOHMS[condition.earthed is True] else None


def _test_reasons(condition: Condition) -> Iterator[Reason]:
    test, earth = _latest(condition, "insulation-test"), _latest(condition, "earth-test")
    least = LEAST_MEGOHMS[condition.earthed is True]
    if test is not None and test.megohms is not None and test.megohms < least:
        yield _reason(
            Fitness.DO_NOT_ENERGISE,
            f"Its insulation failed the test of {test.on}: {test.megohms:g} of at least {least:g} megohms.",
            "What is on the output may be live: retire it, or have it rebuilt and tested again.",
            is_final=True,
        )
    if earth is not None and earth.earth_ohms is not None and earth.earth_ohms > MOST_EARTH_OHMS:
        yield _reason(
            Fitness.REPAIR_FIRST,
            f"Its earth failed the test of {earth.on}: {earth.earth_ohms:g} ohm from pin to case, {MOST_EARTH_OHMS:g} at most.",
            f"Have cord, plug and earth joint put right {COMPETENT}",
        )


def _age_and_mark_reasons(condition: Condition, today: dt.date) -> Iterator[Reason]:
    tested = _passed(condition, today) is not None
    needed = f"with {TEST_VOLTS:.0f} V DC, at least {LEAST_MEGOHMS[condition.earthed is True]:g} megohms"
    years = today.year - condition.made_year if condition.made_year is not None else 0
    if years >= OLD_AFTER_YEARS and not tested:
        yield _reason(
            Fitness.REPAIR_FIRST,
            f"It is {years} years old, and no insulation test that counts today is recorded.",
            f"Insulation ages out of sight: have it tested {needed}, {COMPETENT} Record the test (pilotlamp bench "
            "--record): it counts for a year, or as long as the tester says.",
        )
    examined = _latest(condition, "examination")
    is_examined = examined is not None and _day(examined.on) <= today <= good_until(examined)
    if condition.safety_listed is False and not (tested and is_examined):
        yield _reason(
            Fitness.REPAIR_FIRST,
            "It carries no safety laboratory's mark.",
            f"Have it opened and examined by a licensed practitioner and its insulation tested {needed}. Record both (pilotlamp bench "
            "--record).",
        )


def _current_reasons(gives: frozenset[str], trains: str | None) -> Iterator[Reason]:
    words = {"ac": "alternating", "dc": "direct"}
    wrong = sorted(gives - {trains}) if trains is not None else []
    if wrong:
        yield _reason(
            Fitness.NOT_HERE,
            f"It gives {words[wrong[0]]} current; these trains need {words[trains or wrong[0]]} current.",
            "Nothing is wrong with it: use it for accessories that take its current, not for these trains. The wrong one can burn a motor "
            "out.",
        )


def refused(verdicts: Iterable[BenchVerdict]) -> dict[str, str]:
    """Supplies that the bench check does not pass, and why."""
    return {verdict.supply: verdict.why for verdict in verdicts if not verdict.is_fit}


def outstanding(layout: Layout, *, today: dt.date) -> list[str]:
    """Open questions, then findings that are not mended."""
    verdicts = check_all(layout, Plan(), today=today)
    found = [f"{verdict.supply}: {question}" for verdict in verdicts for _, question in verdict.open_questions]
    return found + [f"{verdict.supply}: {reason.finding} {reason.remedy}" for verdict in verdicts for reason in verdict.reasons]
