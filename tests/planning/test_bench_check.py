"""Sources: flux of a transformer core follows volts over hertz (E = 4.44 f N phi, textbook); toy limits IEC 61558-2-7 / NEM 609:2010
section 6.1; common practice, no published source: supplies with exposed contacts, cloth cords or no breaker are not to be energised.
"""

from dataclasses import dataclass

import msgspec
import pytest

from monitor.layout import Condition, Mains, Supply
from monitor.planning.bench_check import Fitness, check_bench, flux_ratio

SOUND = Condition(cord="sound", breaker_present=True, safety_listed=True, earthed=True, made_year=2015, enclosed=True)
HERE, EUROPE, JAPAN = Mains(volts=120, hertz=60), Mains(volts=230, hertz=50), Mains(volts=100, hertz=50)


def supply(condition=SOUND, **fields):
    plate = {
        "name": "North bench",
        "current": "ac",
        "rated_va": 180,
        "max_volts": 18,
        "input_volts": (120.0,),
        "input_hertz": (60.0,),
    }
    return Supply(**{**plate, **fields}, condition=condition)


def verdict(made, mains=HERE, **more):
    return check_bench(made, mains, this_year=2026, **more)


def test_a_sound_supply_is_fit():
    found = verdict(supply())
    assert (found.fitness, found.reasons, found.open_questions) == (Fitness.FIT, (), ())


@pytest.mark.parametrize(
    ("change", "fitness", "word"),
    [
        ({"enclosed": False}, Fitness.DO_NOT_ENERGISE, "within reach"),
        ({"breaker_present": False}, Fitness.DO_NOT_ENERGISE, "no breaker"),
        ({"cord": "cloth"}, Fitness.DO_NOT_ENERGISE, "cloth"),
        ({"cord": "cracked"}, Fitness.REPAIR, "cracked"),
        ({"cord": "stiff"}, Fitness.REPAIR, "stiff"),
        ({"plug": "damaged"}, Fitness.REPAIR, "plug"),
        ({"strain_relief": False}, Fitness.REPAIR, "holds the cord"),
        ({"safety_listed": False}, Fitness.REPAIR, "mark"),
        ({"made_year": 1946}, Fitness.REPAIR, "80 years"),
        ({"polarised_plug": False, "earthed": False}, Fitness.REPAIR, "either way"),
        ({"cord": None}, Fitness.UNKNOWN, None),
    ],
)
def test_each_finding_has_its_verdict_and_reason(change, fitness, word):
    found = verdict(supply(msgspec.structs.replace(SOUND, **change)))
    assert found.fitness is fitness
    assert word is None or word in found.reasons[0].finding


def test_an_unchecked_supply_is_not_judged_fit():
    found = verdict(supply(condition=None))
    assert found.fitness is Fitness.UNKNOWN
    assert len(found.open_questions) == 4


@dataclass
class Case:
    mains: Mains
    fitness: Fitness
    ratio: float


@pytest.mark.parametrize(
    "case",
    [
        Case(HERE, Fitness.FIT, 1.0),
        Case(EUROPE, Fitness.DO_NOT_ENERGISE, (230 / 50) / 2),
        Case(JAPAN, Fitness.REPAIR, 1.0),  # the flux is right, the volts are a sixth low
        Case(Mains(volts=120, hertz=50), Fitness.DO_NOT_ENERGISE, 1.2),
    ],
)
def test_volts_and_hertz_of_the_mains(case):
    assert flux_ratio(supply(), case.mains) == pytest.approx(case.ratio)
    assert verdict(supply(), case.mains).fitness is case.fitness


def test_a_50_hertz_supply_is_at_ease_on_60_hertz():
    made = supply(input_volts=(110.0, 120.0), input_hertz=(50.0, 60.0))
    assert verdict(made).fitness is Fitness.FIT


def test_direct_current_trains_need_a_direct_current_supply():
    assert verdict(supply(), train_current="dc").fitness is Fitness.REPAIR
    assert verdict(supply(), train_current="ac").fitness is Fitness.FIT


def test_plates_beyond_the_toy_limits_are_pointed_out():
    notes = " ".join(verdict(supply(rated_va=275)).notes)
    assert "IEC 61558-2-7" in notes
    assert "total over all outputs" in notes
    assert "IEC 61558-2-7" not in " ".join(verdict(supply()).notes)
