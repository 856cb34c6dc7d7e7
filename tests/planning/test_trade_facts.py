"""Facts of the trade, each as a check: common practice, no published source, but for those that name a section of a standard."""

import msgspec
import pytest

from monitor.layout import Condition, Mains, Supply, parse_layout
from monitor.planning.bench_check import Fitness, check_bench
from monitor.planning.budget import BudgetOptions, make_budget
from monitor.planning.cautions import CAUTIONS
from monitor.planning.morning import morning_list
from monitor.planning.plan_load import parse_plan
from monitor.planning.planned_loads import TYPICAL_DRAWS
from monitor.planning.share_values import MOST_ACCESSORY_VOLTS, WANTED_VOLTS, Need, ShareOptions, needs_of, offers_of
from monitor.planning.share_words import explain
from monitor.planning.sharing import by_price_per_va, share_load
from tests.layout.fernhollow import FERNHOLLOW
from tests.planning.test_bench_check import HERE, SOUND, TODAY, supply, verdict
from tests.planning.test_sharing import offer

LAYOUT = parse_layout(FERNHOLLOW)


def engine(name):
    draw = next(draw for draw in TYPICAL_DRAWS if draw.name == name)
    return Need(name=name, use="track", current="ac", amps=draw.low_amps, volts=WANTED_VOLTS["track"])


def test_275_watts_on_four_outputs_are_the_total_of_the_four():
    four = offer("Old four", 275 / 18, 4)
    wanted = [Need(name=f"district {k}", use="track", current="ac", amps=275 / 18, volts=15.0) for k in range(2)]
    plan = share_load(wanted, [four], ShareOptions(reserve=0.0))
    assert len(plan.left_out) == 1
    assert "275 is the total over all outputs" in " ".join(verdict(supply(rated_va=None, rated_watts=275)).notes)


def test_a_starter_sets_supply_carries_one_small_engine_where_a_larger_one_carries_several():
    small = engine("engine, can motor")
    options = ShareOptions(reserve=0.0)
    assert share_load([small], [offer("starter", 22 / 18)], options).fits
    assert not share_load([engine("engine, one open-frame motor")], [offer("starter", 22 / 18)], options).fits
    several = [numbered(small, k) for k in range(4)]
    assert not share_load(several, [offer("starter", 22 / 18)], options).fits
    assert share_load(several, [offer("larger", 110 / 18)], options).fits
    assert "starter sets" in " ".join(verdict(supply(rated_va=22)).notes)
    assert "starter sets" not in " ".join(verdict(supply(rated_va=110)).notes)


def numbered(need, k):
    return Need(name=f"{need.name} {k}", use=need.use, current=need.current, amps=need.amps, volts=need.volts)


@pytest.mark.parametrize(
    ("fields", "beyond"),
    [
        # 200 VA and 10 A: NEM 609:2010, 6.1, repeats IEC 61558-2-7. 24 V AC and 33 V DC: IEC 61558-2-7 alone, by a secondary source.
        ({"rated_va": 200, "max_volts": 20}, False),
        ({"rated_va": 201, "max_volts": 24}, True),
        ({"rated_va": 180, "max_volts": 17}, True),
        ({"rated_va": 100, "max_volts": 24}, False),
        ({"rated_va": 100, "max_volts": 25}, True),
        ({"rated_va": 100, "max_volts": 33, "current": "dc"}, False),
        ({"rated_va": 100, "max_volts": 34, "current": "dc"}, True),
    ],
)
def test_what_a_toy_transformer_may_be_rated_for(fields, beyond):
    assert ("outside the limits for toy transformers" in " ".join(verdict(supply(**fields)).notes)) == beyond


def test_accessories_of_any_gauge_are_made_for_18_volts_at_most():
    # NEM 611:2017: 14-18 V in the largest gauges, AC and DC.
    assert MOST_ACCESSORY_VOLTS == 18.0


@pytest.mark.parametrize(
    ("section", "words"),
    [
        ("6.1", "Never pull one plug alone"),
        ("7.1", "turns the whole bench off"),
        ("7.2", "Strips are never plugged into strips"),
        ("3 and 10", "Visitors"),
    ],
)
def test_cautions_name_the_section_of_nem_609_that_says_so(section, words):
    (caution,) = (each for each in CAUTIONS if words in each.text)
    assert f"NEM 609, {section}" in caution.source


@pytest.mark.parametrize("volts", [110.0, 115.0, 120.0])
def test_north_american_plates_are_at_home_on_120_volts_and_60_hertz(volts):
    assert verdict(supply(input_volts=(volts,), input_hertz=(60.0,))).fitness is Fitness.FIT
    assert verdict(supply(input_volts=(volts,), input_hertz=(60.0,)), Mains(volts=230, hertz=50)).fitness is Fitness.NOT_HERE


def test_a_power_pack_gives_dc_and_its_accessory_pair_is_usually_ac():
    notes = " ".join(verdict(supply(current="dc", max_volts=16)).notes)
    assert "power pack or rectifier" in notes
    assert "accessory pair is usually alternating" in notes
    assert "power pack" not in " ".join(verdict(supply()).notes)


def test_what_accessories_draw_comes_out_of_the_same_total_as_the_tracks():
    more = FERNHOLLOW + '[[load]]\nname = "Switches"\ndistrict = "Outer main"\nkind = "accessory"\nrunning_amps = 2.0\n'
    before, after = (
        next(entry for entry in make_budget(parse_layout(text), BudgetOptions()).entries if entry.name == "North bench")
        for text in (FERNHOLLOW, more)
    )
    totals = [next(limit for limit in entry.limits if limit.limit == "nameplate total") for entry in (before, after)]
    assert totals[1].drawn - totals[0].drawn == pytest.approx(2.0)
    assert totals[1].allowed == totals[0].allowed


def test_small_engines_are_content_with_about_15_volts_and_heavy_ones_want_about_19():
    light, heavy = (
        needs_of(parse_layout(FERNHOLLOW.replace("running_amps = 2.4", f"running_amps = {amps}")))[0] for amps in (1.2, 4.0)
    )
    assert (light.volts, light.likes_volts) == (15.0, 0.0)
    assert (heavy.volts, heavy.likes_volts) == (15.0, 19.0)


def test_a_supply_some_volts_lower_just_runs_trains_slower():
    heavy = Need(name="Express", use="track", current="ac", amps=3.0, volts=15.0, likes_volts=19.0)
    offers = [offer("lower", 11.25, volts=16.0)]
    plan = share_load([heavy], offers)
    assert plan.fits
    assert "would like about 19 V and gets 16 V at most: its trains just run slower" in explain(plan, [heavy], offers)


def test_accessories_are_set_to_about_12_or_16_volts_and_checked_with_a_meter():
    assert WANTED_VOLTS["accessories"] == 12.0
    listed = morning_list(LAYOUT, [], make_budget(LAYOUT))
    assert "12 V or 16 V" in listed
    assert "checked with a meter" in listed


def test_a_breaker_protects_the_house_and_the_person_not_the_trains():
    assert "protects the house and the person, not the trains" in morning_list(LAYOUT, [], make_budget(LAYOUT))
    assert "protects the house and the person, not the trains" in " ".join(verdict(supply()).notes)


def test_several_small_supplies_can_give_a_watt_cheaper_than_one_large():
    offers = [offer("large", 10, price=200.0), offer("small 1", 60 / 18, price=40.0), offer("small 2", 60 / 18, price=40.0)]
    wanted = [Need(name=f"district {k}", use="track", current="ac", amps=2.0, volts=15.0) for k in range(2)]
    assert set(share_load(wanted, offers).used) == {"small 1", "small 2"}
    assert by_price_per_va(offers)[0][0].name == "small 1"


@pytest.mark.parametrize("found", [{"enclosed": False}, {"cord": "cloth"}, {"breaker_present": False}])
def test_supplies_some_80_years_old_with_exposed_contacts_cloth_cords_or_no_breaker_are_not_to_be_energised(found):
    old = msgspec.structs.replace(SOUND, made_year=1946, **found)
    assert verdict(supply(old)).fitness is Fitness.DO_NOT_ENERGISE
    text = FERNHOLLOW.replace("made_year = 1998", "made_year = 1946")
    (key,) = found
    toml = {"enclosed": ("enclosed = true", "enclosed = false"), "cord": ('cord = "sound"', 'cord = "cloth"')}
    layout = parse_layout(text.replace(*toml.get(key, ("breaker_present = true", "breaker_present = false"))))
    assert "North bench" not in share_load(needs_of(layout), offers_of(layout, today=TODAY)).used


def test_how_a_breaker_resets_is_asked_and_explained():
    assert "closes by itself" in " ".join(verdict(supply(msgspec.structs.replace(SOUND, breaker_reset="auto"))).notes)
    assert "reset by hand" in " ".join(verdict(supply(msgspec.structs.replace(SOUND, breaker_reset="manual"))).notes)


def test_dc_supplies_do_not_suit_ac_trains_where_the_plan_file_says_so():
    plan = parse_plan('trains = "ac"', LAYOUT)
    made = Supply(name="x", current="dc", rated_va=60, max_volts=16, condition=Condition())
    assert check_bench(made, HERE, today=TODAY, trains=plan.trains).fitness is Fitness.NOT_HERE
