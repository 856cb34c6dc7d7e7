"""Checked against brute force: every assignment of small cases is tried."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.planning.sharing import Need, Offer, ShareOptions, alternatives, by_price_per_va, explain, share_load


def offer(name, va, **more):
    return Offer(**{
        "name": name, "current": "ac", "usable_va": va, "max_volts": 18.0, "output_amps": (10.0,), "winding_amps": va / 18.0, **more,
    })  # fmt: skip


def need(name, amps, **more):
    return Need(**{"name": name, "use": "track", "current": "ac", "amps": amps, "volts": 16.0, **more})


NO_RESERVE = ShareOptions(reserve=0.0)


def cheapest_by_brute_force(needs, offers, options):
    best = None
    for choice in itertools.product(range(len(offers)), repeat=len(needs)):
        carried = [[n for n, s in zip(needs, choice, strict=True) if s == k] for k in range(len(offers))]
        price = 0.0
        for made, on_it in zip(offers, carried, strict=True):
            va = sum(n.amps * n.volts for n in on_it)
            amps = sum(n.amps for n in on_it)
            free = 1 - options.reserve
            if va > free * made.usable_va + 1e-9 or amps > free * min(made.winding_amps, made.output_amps[0]) + 1e-9:
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
offers_strategy = st.lists(st.tuples(st.integers(20, 180), st.sampled_from([0.0, 30.0, 45.0])), min_size=1, max_size=3)


@given(needs_strategy, offers_strategy, st.sampled_from([0.0, 0.25]))
@settings(max_examples=40, deadline=None)
def test_as_good_as_brute_force(raw_needs, raw_offers, reserve):
    needs = [need(f"n{k}", amps, volts=volts, use=use) for k, (amps, volts, use) in enumerate(raw_needs)]
    offers = [offer(f"s{k}", float(va), price=price) for k, (va, price) in enumerate(raw_offers)]
    options = ShareOptions(reserve=reserve)
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


def test_an_unfit_supply_gets_no_load_without_an_override():
    needs = [need("main", 3.0)]
    assert share_load(needs, [offer("old", 180, fit=False)]).left_out == ("main",)
    assert share_load(needs, [offer("old", 180, fit=False, override=True)]).fits


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


def test_twelve_supplies_and_forty_loads_are_solved():
    rng = np.random.default_rng(3)
    needs = [
        need(
            f"n{k}",
            round(float(rng.uniform(0.3, 2.5)), 1),
            use="track" if k % 3 else "accessories",
            volts=float(rng.choice([12, 14, 16])),
        )
        for k in range(40)
    ]
    offers = [
        offer(f"s{k}", float(rng.integers(60, 180)), output_amps=(10.0, 10.0), price=float(rng.choice([0, 0, 45, 60])))
        for k in range(12)
    ]
    plan = share_load(needs, offers)
    assert plan.fits
    assert all(share <= 0.8 + 1e-6 for share in plan.va_share.values())
