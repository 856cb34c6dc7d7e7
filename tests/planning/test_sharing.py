"""Checked against brute force: every assignment of small cases is tried."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.planning.offers import needs_of, offers_of
from monitor.planning.plan_file import parse_plan
from monitor.planning.programme import Undecided
from monitor.planning.sharing import Need, Offer, ShareOptions, alternatives, by_price_per_va, explain, share_load
from tests.layout.fernhollow import BOTH_FIT
from tests.planning.test_bench_check import TODAY


def offer(name, va, **more):
    return Offer(**{
        "name": name, "current": "ac", "usable_va": va, "max_volts": 18.0, "output_amps": (10.0,), "winding_amps": va / 18.0, **more,
    })  # fmt: skip


def need(name, amps, **more):
    return Need(**{"name": name, "use": "track", "current": "ac", "amps": amps, "volts": 16.0, **more})


NO_RESERVE = ShareOptions(reserve=0.0)


def fits_outputs(on_it, limits, fixed):
    """Every way of putting so many needs on the outputs; track on none of the fixed ones."""
    for way in itertools.product(range(len(limits)), repeat=len(on_it)):
        placed = list(zip(on_it, way, strict=True))
        if all(n.use != "track" or w not in fixed for n, w in placed) and all(
            sum(n.amps for n, w in placed if w == o) <= limit + 1e-9 for o, limit in enumerate(limits)
        ):
            return True
    return False


def cheapest_by_brute_force(needs, offers, options):
    best = None
    for choice in itertools.product(range(len(offers)), repeat=len(needs)):
        carried = [[n for n, s in zip(needs, choice, strict=True) if s == k] for k in range(len(offers))]
        price = 0.0
        for made, on_it in zip(offers, carried, strict=True):
            va = sum(n.amps * n.volts for n in on_it)
            amps = sum(n.amps for n in on_it)
            free = 1 - options.reserve
            if va > free * made.usable_va + 1e-9 or amps > free * made.winding_amps + 1e-9:
                break
            if not fits_outputs(on_it, [free * each for each in made.output_amps], made.fixed_outputs):
                break
            if any(n.volts > made.max_volts or n.current not in (None, made.current) for n in on_it):
                break
            mixed = len({n.use for n in on_it}) > 1
            price += (made.price + options.used_price) * bool(on_it) + options.mix_price * mixed
        else:
            best = price if best is None else min(best, price)
    return best


needs_strategy = st.lists(
    st.builds(
        lambda amps, volts, use: (amps, volts, use),
        st.floats(0.2, 6).map(lambda value: round(value, 1)),
        st.sampled_from([12.0, 14.0, 16.0]),
        st.sampled_from(["track", "accessories"]),
    ),
    min_size=1,
    max_size=4,
)
offers_strategy = st.lists(
    st.tuples(
        st.integers(20, 180),
        st.sampled_from([0.0, 30.0, 45.0]),
        st.sampled_from([(10.0,), (4.0, 2.5), (3.0, 3.0)]),
        st.sampled_from([frozenset(), frozenset({0})]),
    ),
    min_size=1,
    max_size=3,
)


@given(needs_strategy, offers_strategy, st.sampled_from([0.0, 0.25]))
@settings(max_examples=40, deadline=None)
def test_as_good_as_brute_force(raw_needs, raw_offers, reserve):
    needs = [need(f"n{k}", amps, volts=volts, use=use) for k, (amps, volts, use) in enumerate(raw_needs)]
    offers = [
        offer(f"s{k}", float(va), price=price, output_amps=amps, fixed_outputs=fixed)
        for k, (va, price, amps, fixed) in enumerate(raw_offers)
    ]
    options = ShareOptions(reserve=reserve, within_s=60.0)
    best = cheapest_by_brute_force(needs, offers, options)
    plan = share_load(needs, offers, options)
    assert plan.fits == (best is not None)
    if best is not None:
        mine = plan.price + options.used_price * len(plan.used) + options.mix_price * len(plan.mixed)
        assert mine == pytest.approx(best, abs=1e-6)


def test_a_plate_total_is_never_counted_for_one_output():
    # Common practice, no published source: 275 W on a supply with four outputs is the total of the four.
    four = offer("Old four", 275.0, output_amps=(15.0,) * 4, winding_amps=15.0)
    needs = [need(f"n{k}", 5.0, volts=18.0) for k in range(4)]
    plan = share_load(needs, [four], NO_RESERVE)
    assert not plan.fits
    assert len(plan.left_out) == 1


def test_accessories_go_on_a_supply_of_their_own_where_there_is_one():
    plan = share_load([need("main", 3.0), need("lamps", 2.0, use="accessories", volts=12.0)], [offer("a", 180), offer("b", 60)])
    assert plan.mixed == ()
    assert plan.places["main"][0] != plan.places["lamps"][0]


def test_an_unfit_supply_gets_no_load():
    assert share_load([need("main", 3.0)], [offer("old", 180, fit=False)]).left_out == ("main",)


def test_one_common_needs_one_phase_group():
    needs = [need("outer", 4.5, common="rail"), need("inner", 4.5, common="rail")]
    alone = [offer("a", 110), offer("b", 110)]
    assert not share_load(needs, alone).fits
    phased = [offer("a", 110, phase_group="hall"), offer("b", 110, phase_group="hall")]
    assert share_load(needs, phased).fits


def test_what_cannot_fit_is_named_with_the_smallest_change():
    plan = share_load([need("main", 5.0, volts=18.0), need("yard", 4.0, volts=18.0)], [offer("a", 100.0)], NO_RESERVE)
    assert plan.left_out == ("yard",)
    # By hand: 9 A x 18 V = 162 VA, 62 VA more than there is.
    assert plan.extra_va == {"a": pytest.approx(62.0, abs=0.1)}
    assert "a by 62 VA" in explain(plan, [])


def test_volts_that_nothing_gives_are_said():
    plan = share_load([need("heavy", 1.0, volts=24.0)], [offer("a", 180)])
    assert plan.left_out == ("heavy",)
    assert "volts" in explain(plan, [])


def test_several_small_supplies_can_give_a_watt_cheaper_than_one_large():
    # Common practice, no published source.
    offers = [offer("large", 180, price=200.0), offer("small 1", 60, price=40.0), offer("small 2", 60, price=40.0)]
    plan = share_load([need("outer", 2.0), need("inner", 2.0)], offers)
    assert set(plan.used) == {"small 1", "small 2"}
    assert by_price_per_va(offers)[0][0].name == "small 1"
    others = alternatives([need("outer", 2.0), need("inner", 2.0)], offers)
    assert set(others[0].used) == {"small 1", "small 2"}
    assert len({frozenset(p.used) for p in others}) == len(others) > 1


def test_a_reserve_outside_its_range_is_refused():
    with pytest.raises(LayoutError, match="reserve"):
        share_load([], [], ShareOptions(reserve=1.5))


def forty_loads_on_twelve(seed, filling):
    """Two outputs a supply, half of them with limits of their own; loads that fill so much of what there is within the reserve."""
    rng = np.random.default_rng(seed)
    offers = []
    for k in range(12):
        va = float(rng.integers(60, 180))
        amps = (va / 18,) * 2 if k % 2 else tuple(round(va / 18 * float(rng.choice([0.6, 0.7, 1.0])), 1) for _ in range(2))
        offers.append(offer(f"s{k}", va, output_amps=amps, price=float(rng.choice([0, 0, 45, 60]))))
    amps = rng.uniform(0.2, 3.0, 40)
    amps *= filling * 0.8 * sum(made.winding_amps for made in offers) / amps.sum()
    return [
        need(
            f"n{k}", max(0.1, round(float(a), 1)), use="track" if k % 3 else "accessories", volts=float(rng.choice([12, 14, 16]))
        )
        for k, a in enumerate(amps)
    ], offers


def holds_every_limit(plan, needs, offers, reserve):
    """Told from the figures alone, without the programme."""
    free = 1 - reserve
    for made in offers:
        on_it = [n for n in needs if plan.places[n.name][0] == made.name]
        assert sum(n.amps * n.volts for n in on_it) <= free * made.usable_va + 1e-4
        assert sum(n.amps for n in on_it) <= free * made.winding_amps + 1e-4
        for output, amps in enumerate(made.output_amps):
            if min(made.output_amps) < made.winding_amps:
                assert sum(n.amps for n in on_it if plan.places[n.name][1] == output) <= free * amps + 1e-4
        assert all(n.volts <= made.max_volts for n in on_it)
    return True


@pytest.mark.parametrize(("seed", "filling"), [(3, 0.5), (2, 0.9), (2, 0.95), (2, 0.98)])
def test_twelve_supplies_and_forty_loads_are_solved_and_proven(seed, filling):
    needs, offers = forty_loads_on_twelve(seed, filling)
    # The time is that of a slow and busy computer; python -m tests.bench.bench_sharing says what it takes.
    plan = share_load(needs, offers, ShareOptions(within_s=120.0))
    assert plan.proven
    assert plan.fits
    assert holds_every_limit(plan, needs, offers, 0.2)


def test_a_plan_that_ran_out_of_time_says_so_and_still_holds_every_limit(monkeypatch):
    def out_of_time(*_args, **_more):
        raise Undecided

    monkeypatch.setattr("monitor.planning.sharing.solve_exactly", out_of_time)
    needs, offers = [need("outer", 3.0), need("inner", 2.0)], [offer("a", 110.0), offer("b", 60.0)]
    plan = share_load(needs, offers, ShareOptions(within_s=120.0))
    assert plan.fits
    assert not plan.proven
    assert "Time ran out" in explain(plan, needs)
    assert holds_every_limit(plan, needs, offers, 0.2)


def test_alike_supplies_and_loads_give_no_second_plan_of_the_same_kind():
    offers = [offer(f"twin {k}", 60.0, price=40.0) for k in range(4)]
    plans = alternatives([need(f"n{k}", 2.0) for k in range(2)], offers)
    assert len(plans) == 1
    assert set(plans[0].used) == {"twin 0", "twin 1"}


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (need("heavy", 1.0, volts=24.0), "wants 24 V and the highest here is 18 V"),
        (need("small gauge", 1.0, current="dc"), "takes DC and no fit supply"),
        (need("double header", 6.0), "one output gives 5.0 A at most"),
    ],
)
def test_why_something_finds_no_place(wanted, words):
    offers = [offer("a", 180.0, output_amps=(5.0, 5.0))]
    plan = share_load([wanted], offers, NO_RESERVE)
    assert words in explain(plan, [wanted], offers, NO_RESERVE)


def test_candidates_of_the_plan_file_are_weighed_and_ranked():
    layout = parse_layout(BOTH_FIT.replace("running_amps = 2.4", "running_amps = 9.5"))
    plan_text = """
[[candidate]]
name = "New 180"
price = 200
current = "ac"
rated_va = 180
max_volts = 18
[[candidate]]
name = "Used 110"
price = 45
current = "ac"
rated_va = 110
max_volts = 18
count = 2
"""
    plan = parse_plan(plan_text, layout)
    offers = offers_of(layout, today=TODAY, plan=plan)
    assert [made.name for made in offers] == ["North bench", "South bench", "New 180", "Used 110 1", "Used 110 2"]
    # 9.5 A is too much for 180 VA with a fifth kept free, for every supply here: by hand 180 / 18 * 0.8 = 8 A.
    assert share_load(needs_of(layout, plan), offers).left_out == ("Outer main",)
    ranked = by_price_per_va(offers)
    assert [made.name for made, _ in ranked] == ["Used 110 1", "Used 110 2", "New 180"]
    assert ranked[0][1] == pytest.approx(45 / 110)


def test_accessories_on_a_track_district_can_go_elsewhere():
    layout = parse_layout(
        BOTH_FIT + '[[load]]\nname = "Switches"\ndistrict = "Outer main"\nkind = "accessory"\nrunning_amps = 2.0\n'
    )
    needs = needs_of(layout)
    assert [(n.name, n.use, n.amps) for n in needs] == [
        ("Outer main", "track", 2.4), ("Switches (Outer main)", "accessories", 2.0), ("Town lights", "accessories", 0),
    ]  # fmt: skip
    assert share_load(needs, offers_of(layout, today=TODAY)).places["Switches (Outer main)"][0] == "South bench"


def test_track_goes_only_where_a_throttle_is_and_is_spread_over_the_outputs():
    made = offer("North bench", 180.0, output_amps=(10.0, 10.0, 10.0), fixed_outputs=frozenset({2}))
    needs = [need("outer", 3.0), need("inner", 2.0), need("lamps", 1.0, use="accessories", volts=12.0)]
    plan = share_load(needs, [made])
    assert plan.places == {"outer": ("North bench", 0), "inner": ("North bench", 1), "lamps": ("North bench", 2)}
    fixed = offer("Lamp supply", 180.0, fixed_outputs=frozenset({0}))
    refused = share_load(needs[:1], [fixed])
    assert refused.left_out == ("outer",)
    assert "track needs an output that a throttle moves" in explain(refused, needs, [fixed])
    own_limits = offer("South bench", 180.0, output_amps=(4.0, 9.0), fixed_outputs=frozenset({1}))
    assert share_load([need("outer", 3.0)], [own_limits]).places["outer"] == ("South bench", 0)
    assert not share_load([need("outer", 3.5)], [own_limits]).fits
