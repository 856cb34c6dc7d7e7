"""Sources: flux of a transformer core follows volts over hertz (E = 4.44 f N phi, textbook); mains stands 10 % about its nominal volts (IEC
60038); insulation and earth of a used appliance, DIN VDE 0701: 1 and 2 megohms of classes I and II, 0.3 ohm. Common practice, no
published source: supplies with exposed contacts, cloth cords or no breaker are not to be energised. ``worst_allowed`` below is the
check's own reading of the rules and shares nothing with the program.
"""

import datetime as dt

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.layout import Condition, Mains, Protection, Supply, parse_layout
from monitor.layout.schema import BenchRecord
from monitor.planning.bench_check import Fitness, check_all, check_bench
from monitor.planning.plan_file import Plan
from monitor.planning.plate import flux_ratio
from monitor.rehearsal.fernhollow import demo_layout_text
from tests.layout.fernhollow import FERNHOLLOW

TODAY = dt.date(2026, 11, 30)
SOUND = Condition(
    cord="sound", plug="sound", strain_relief=True, breaker_present=True, safety_listed=True, earthed=True, made_year=2015, enclosed=True
)  # fmt: skip
HERE, EUROPE, JAPAN = Mains(volts=120, hertz=60), Mains(volts=230, hertz=50), Mains(volts=100, hertz=50)


def supply(condition=SOUND, **fields):
    plate = {
        "name": "North bench",
        "current": "ac",
        "rated_va": 180,
        "max_volts": 18,
        "input_volts": (120.0,),
        "input_hertz": (60.0,),
        "protection": Protection(kind="thermal", rated_amps=10),
    }
    return Supply(**{**plate, **fields}, condition=condition)


def verdict(made, mains=HERE, **more):
    return check_bench(made, mains, today=TODAY, **more)


def changed(**change):
    return msgspec.structs.replace(SOUND, **change)


def test_a_sound_supply_is_fit():
    found = verdict(supply())
    assert (found.fitness, found.reasons, found.open_questions) == (Fitness.FIT, (), ())


@pytest.mark.parametrize(
    ("change", "fitness", "word"),
    [
        ({"enclosed": False}, Fitness.DO_NOT_ENERGISE, "within reach"),
        ({"breaker_present": False}, Fitness.DO_NOT_ENERGISE, "no breaker"),
        ({"cord": "cloth"}, Fitness.DO_NOT_ENERGISE, "cloth"),
        ({"cord": "cracked"}, Fitness.REPAIR_FIRST, "cracked"),
        ({"cord": "stiff"}, Fitness.REPAIR_FIRST, "stiff"),
        ({"plug": "damaged"}, Fitness.REPAIR_FIRST, "plug"),
        ({"strain_relief": False}, Fitness.REPAIR_FIRST, "holds the cord"),
        ({"safety_listed": False}, Fitness.REPAIR_FIRST, "mark"),
        ({"made_year": 1946}, Fitness.REPAIR_FIRST, "80 years"),
        ({"polarised_plug": False, "earthed": False}, Fitness.REPAIR_FIRST, "either way"),
    ],
)
def test_each_finding_has_its_verdict_and_reason(change, fitness, word):
    found = verdict(supply(changed(**change)))
    assert found.fitness is fitness
    assert word in found.reasons[0].finding
    assert found.why.startswith(fitness.sentence)


@pytest.mark.parametrize("key", ["enclosed", "cord", "plug", "strain_relief", "breaker_present", "safety_listed", "made_year"])
def test_no_answer_that_bears_on_safety_may_be_open(key):
    found = verdict(supply(changed(**{key: None})))
    assert (found.fitness, [opened for opened, _ in found.open_questions]) == (Fitness.NOT_JUDGED, [key])


@pytest.mark.parametrize(
    ("fields", "fitness", "opened"),
    [
        ({"protection": Protection(kind="none")}, Fitness.DO_NOT_ENERGISE, []),
        ({"protection": Protection(kind="unknown")}, Fitness.NOT_JUDGED, ["protection"]),
        ({"protection": None}, Fitness.NOT_JUDGED, ["protection"]),
        ({"input_volts": None}, Fitness.NOT_JUDGED, ["input_volts"]),
        ({"input_hertz": None}, Fitness.NOT_JUDGED, ["input_hertz"]),
    ],
)
def test_protection_and_plate_have_to_be_known(fields, fitness, opened):
    found = verdict(supply(**fields))
    assert (found.fitness, [key for key, _ in found.open_questions]) == (fitness, opened)


def test_protection_that_is_added_is_sized_by_the_winding_and_the_mains_side_left_alone():
    found = verdict(supply(protection=Protection(kind="none")))
    # 180 VA over 18 V: 10 A.
    assert "winding's 10.0 A" in found.reasons[0].remedy
    assert "IEC 60127" in found.reasons[0].remedy
    assert "licensed practitioner" in found.reasons[0].remedy


def test_protection_above_the_winding_is_pointed_out():
    assert "Between the two nothing opens" in " ".join(
        verdict(supply(protection=Protection(kind="thermal", rated_amps=15))).notes
    )
    assert "Between the two nothing opens" not in " ".join(verdict(supply()).notes)


@pytest.mark.parametrize(
    ("plate", "mains", "fitness", "words"),
    [
        ((120,), HERE, Fitness.FIT, ""),
        ((110,), HERE, Fitness.FIT, ""),  # 1.09 times, within the tolerance
        ((110,), Mains(volts=125, hertz=60), Fitness.NOT_HERE, "would not burn at once"),  # 1.14
        ((120,), EUROPE, Fitness.NOT_HERE, "never plug it in here"),  # 2.3 times the flux
        ((120,), JAPAN, Fitness.NOT_HERE, "83 % of its volts"),  # the flux is right, the volts are a sixth low
        ((120,), Mains(volts=120, hertz=50), Fitness.NOT_HERE, "too warm"),  # 1.2 times the flux
        ((230,), HERE, Fitness.NOT_HERE, "52 % of its volts"),
        ((230,), HERE, Fitness.NOT_HERE, "made for 230 V and"),
        ((110, 120), EUROPE, Fitness.NOT_HERE, "never plug it in here"),
        ((110, 115), Mains(volts=130, hertz=60), Fitness.NOT_HERE, "made for 110-115 V"),
        ((110, 120), Mains(volts=127, hertz=60), Fitness.FIT, ""),
    ],
)
def test_volts_and_hertz_of_the_mains(plate, mains, fitness, words):
    found = verdict(supply(input_volts=tuple(map(float, plate))), mains)
    assert found.fitness is fitness
    assert words in " ".join(f"{reason.finding} {reason.remedy}" for reason in found.reasons)
    # What would burn at once is set aside by no reason.
    assert any(reason.is_final for reason in found.reasons) == ("never plug it in here" in words)


def test_a_core_with_room_still_gives_too_many_volts():
    # 110 V at 50 Hz is more flux than 125 V at 60 Hz, but all outputs are 14 % high.
    found = verdict(supply(input_volts=(110.0,), input_hertz=(50.0, 60.0)), Mains(volts=125, hertz=60))
    assert found.fitness is Fitness.NOT_HERE
    assert "Its core stands that, its output does not" in found.reasons[0].remedy


def test_flux_follows_volts_over_hertz():
    assert flux_ratio(120, 60, EUROPE) == pytest.approx(2.3)
    assert "hums" in " ".join(verdict(supply(input_volts=(110.0,))).notes)
    assert "hums" not in " ".join(verdict(supply()).notes)


@pytest.mark.parametrize(
    ("selector", "mains", "fitness"),
    [
        (None, HERE, Fitness.NOT_JUDGED),
        (115.0, HERE, Fitness.FIT),
        (230.0, HERE, Fitness.NOT_HERE),
        (115.0, EUROPE, Fitness.NOT_HERE),
        (230.0, EUROPE, Fitness.FIT),
        (0.0, EUROPE, Fitness.FIT),
        (None, Mains(volts=160, hertz=60), Fitness.NOT_HERE),
    ],
)
def test_the_selector_of_a_plate_with_two_ranges(selector, mains, fitness):
    made = supply(changed(selector_volts=selector), input_volts=(115.0, 230.0), input_hertz=(50.0, 60.0))
    assert verdict(made, mains).fitness is fitness


def test_trains_need_their_current_and_accessories_do_not():
    assert verdict(supply(), trains="dc").fitness is Fitness.NOT_HERE
    assert verdict(supply(), trains="ac").fitness is Fitness.FIT
    # Outer main (track) is on North bench, Town lights on South bench.
    found = check_all(parse_layout(FERNHOLLOW), Plan(trains="dc"), today=TODAY)
    assert [each.fitness for each in found] == [Fitness.NOT_HERE, Fitness.NOT_JUDGED]
    pair = FERNHOLLOW.replace('name = "A"\ncontrol = "variable"', 'name = "A"\ncontrol = "variable"\ncurrent = "dc"')
    assert check_all(parse_layout(pair), Plan(), today=TODAY, trains="dc")[0].fitness is Fitness.FIT


def insulation(**record):
    return BenchRecord(
        **{"what": "insulation-test", "on": "2026-06-01", "by": "Ada", "megohms": 20.0, "test_volts": 500.0, **record}
    )


@pytest.mark.parametrize(
    ("record", "fitness"),
    [
        ({}, Fitness.FIT),
        ({"on": "2025-06-01"}, Fitness.REPAIR_FIRST),  # more than a year ago
        ({"on": "2025-06-01", "good_until": "2027-06-01"}, Fitness.FIT),
        ({"on": "2027-01-01"}, Fitness.REPAIR_FIRST),  # not yet
        ({"test_volts": 250.0}, Fitness.REPAIR_FIRST),
        ({"megohms": None}, Fitness.REPAIR_FIRST),
        ({"megohms": 0.4}, Fitness.DO_NOT_ENERGISE),
    ],
)
def test_a_recorded_test_lifts_the_age_for_its_time(record, fitness):
    assert verdict(supply(changed(made_year=1946, record=(insulation(**record),)))).fitness is fitness


def test_a_day_that_is_none_is_said():
    with pytest.raises(LayoutError, match="no day 2026-02-30"):
        verdict(supply(changed(made_year=1946, record=(insulation(on="2026-02-30"),))))


@pytest.mark.parametrize(("earthed", "least"), [(True, 1.0), (False, 2.0)])
def test_the_test_that_lifts_the_age_has_the_limit_of_its_class(earthed, least):
    old = {"made_year": 1946, "earthed": earthed, "polarised_plug": True}
    assert verdict(supply(changed(**old, record=(insulation(megohms=least),)))).fitness is Fitness.FIT
    assert verdict(supply(changed(**old, record=(insulation(megohms=0.9 * least),)))).fitness is Fitness.DO_NOT_ENERGISE
    assert f"at least {least:g} megohms" in verdict(supply(changed(**old))).reasons[0].remedy


def test_why_names_the_worst_reason_else_the_first_question():
    assert verdict(supply(changed(cord="cracked", made_year=None))).why.endswith("Its cord is cracked.")
    assert verdict(supply(changed(made_year=None))).why.endswith("last tested?")


def test_an_unearthed_supply_needs_two_megohms_and_an_earthed_one_its_earth():
    assert (
        verdict(supply(changed(earthed=False, polarised_plug=True, record=(insulation(megohms=1.5),)))).fitness
        is Fitness.DO_NOT_ENERGISE
    )
    assert verdict(supply(changed(record=(insulation(megohms=1.5),)))).fitness is Fitness.FIT
    earth = [BenchRecord(what="earth-test", on=f"2026-0{k}-01", by="Ada", earth_ohms=ohms) for k, ohms in ((1, 0.8), (2, 0.2))]
    assert verdict(supply(changed(record=(earth[0],)))).fitness is Fitness.REPAIR_FIRST
    assert verdict(supply(changed(record=tuple(earth)))).fitness is Fitness.FIT


def test_a_missing_mark_takes_an_examination_and_a_test():
    seen = BenchRecord(what="examination", on="2026-06-01", by="Ada")
    for records, fitness in (
        ((insulation(),), Fitness.REPAIR_FIRST),
        ((seen,), Fitness.REPAIR_FIRST),
        ((insulation(), seen), Fitness.FIT),
    ):
        assert verdict(supply(changed(safety_listed=False, record=records))).fitness is fitness


def test_plates_beyond_the_toy_limits_are_pointed_out():
    notes = " ".join(verdict(supply(rated_va=275)).notes)
    assert "IEC 61558-2-7" in notes
    assert "total over all outputs" in notes
    assert "IEC 61558-2-7" not in " ".join(verdict(supply()).notes)


drawn = st.fixed_dictionaries({
    "enclosed": st.sampled_from([True, True, False, None]),
    "cord": st.sampled_from(["sound", "sound", "stiff", "cracked", "cloth", None]),
    "plug": st.sampled_from(["sound", "sound", "damaged", None]),
    "strain_relief": st.sampled_from([True, True, False, None]),
    "breaker_present": st.sampled_from([True, True, False, None]),
    "safety_listed": st.sampled_from([True, True, False, None]),
    "earthed": st.sampled_from([True, False, None]),
    "polarised_plug": st.sampled_from([True, False, None]),
    "made_year": st.sampled_from([2015, 2015, 1990, 1950, None]),
})  # fmt: skip
plates = st.sampled_from([(100.0,), (110.0,), (110.0, 120.0), (120.0,), (220.0, 240.0), (115.0, 230.0), None])
kinds = st.sampled_from(["thermal", "fuse", "electronic", "none", "unknown", None])


def worst_allowed(condition, kind, plate, hertz, mains):
    """Told from the answers alone: (whether it may be fit, whether it must not be energised)."""
    deadly = (
        condition["enclosed"] is False or condition["cord"] == "cloth" or kind == "none" or condition["breaker_present"] is False
    )
    needed = ("enclosed", "strain_relief", "breaker_present", "safety_listed")
    body = all(condition[key] is True for key in needed) and condition["cord"] == condition["plug"] == "sound"
    young = condition["made_year"] is not None and condition["made_year"] > TODAY.year - 50
    grounded = not (condition["polarised_plug"] is False and condition["earthed"] is False)
    volts = plate is not None and plate != (115.0, 230.0) and 0.9 * min(plate) <= mains.volts <= 1.1 * max(plate) + 1e-9
    iron = hertz is not None and plate is not None and mains.volts / mains.hertz <= 1.1 * max(plate) / hertz + 1e-9
    return body and young and grounded and volts and iron and kind in ("thermal", "fuse", "electronic"), deadly


@given(
    drawn,
    kinds,
    plates,
    st.sampled_from([60.0, 60.0, 50.0, None]),
    st.sampled_from([HERE, HERE, EUROPE, JAPAN, Mains(volts=125, hertz=60)]),
)
@settings(max_examples=400, deadline=None)
def test_fit_only_where_everything_is_known_and_right(condition, kind, plate, hertz, mains):
    protection = (
        None if kind is None else Protection(kind=kind, rated_amps=10 if kind in ("thermal", "fuse", "electronic") else None)
    )
    made = supply(
        Condition(**condition), protection=protection, input_volts=plate, input_hertz=None if hertz is None else (hertz,)
    )
    found = verdict(made, mains)
    may_be_fit, deadly = worst_allowed(condition, kind, plate, hertz, mains)
    assert found.is_fit == may_be_fit
    assert (found.fitness is Fitness.DO_NOT_ENERGISE) == deadly


def test_the_supplies_of_the_demo_are_fit():
    layout = parse_layout(demo_layout_text("/dev/ttyUSB0"))
    assert all(each.is_fit for each in check_all(layout, Plan(), today=TODAY))
