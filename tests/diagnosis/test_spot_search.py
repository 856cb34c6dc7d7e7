"""What is held and what is let go, on events whose laps are known by construction."""

import numpy as np
import pytest

from monitor.diagnosis.journey import Journey
from monitor.diagnosis.laps import LAPS_S, SPEED_POWERS
from monitor.diagnosis.spot_search import SpotSearch

FLAT = np.full(len(SPEED_POWERS) * len(LAPS_S), -np.log(len(SPEED_POWERS) * len(LAPS_S)))
LAP_S = 20.0


def search_over(seconds: float) -> SpotSearch:
    """A train at constant speed."""
    journey = Journey(0.0, 14.0)
    here = np.ones(round(seconds * 10), dtype=bool)
    journey.extend(np.full(len(here), 14.0), here, here, ~here)
    return SpotSearch(journey, 0.0)


def after(search: SpotSearch, moments_s: list[float]) -> list:
    told = []
    for at_s in moments_s:
        search.add(at_s)
        told.append(search.spot(FLAT))
    return told


def passings(count: int, first_s: float = 5.0, seed: int = 0) -> list[float]:
    rng = np.random.default_rng(seed)
    return [first_s + LAP_S * k + float(rng.normal(0, 0.1)) for k in range(count)]


def test_a_spot_is_told_with_its_lap_its_place_and_its_arc():
    spot = after(search_over(400), passings(12))[-1]
    assert spot.is_fixed
    assert spot.lap_s == pytest.approx(LAP_S, rel=0.02)
    assert spot.fraction == pytest.approx(0.25, abs=0.02)
    assert spot.spread < 0.03
    assert (spot.there, spot.events) == (spot.latest, 12)


def test_four_events_are_enough_where_the_amps_favour_their_lap_and_three_never():
    favoured = FLAT + 6.0 * (np.abs(np.log(np.tile(LAPS_S, len(SPEED_POWERS)) / LAP_S)) < 0.03)
    favoured -= np.logaddexp.reduce(favoured)
    search = search_over(400)
    fixed = []
    for at_s in passings(4):
        search.add(at_s)
        fixed.append(search.spot(favoured).is_fixed)
    assert fixed == [False] * 3 + [True]
    assert not any(spot.is_fixed for spot in after(search_over(400), passings(4)))


def test_a_place_that_later_events_speak_against_is_let_go_though_chance_leaves_a_third_of_them_there():
    rng = np.random.default_rng(4)
    laps = np.arange(8, 60)
    there = rng.random(len(laps)) < 0.3
    anywhere = np.where(there, 0.25 + rng.uniform(-0.1, 0.1, len(laps)), rng.random(len(laps)))
    spots = after(search_over(1300), [*passings(5), *(LAP_S * (laps + anywhere)).tolist()])
    assert any(spot.is_fixed for spot in spots)
    assert not any(spot.is_fixed and spot.p_value > 0.8 for spot in spots)


@pytest.mark.parametrize(("every", "stood", "lap_s"), [(1, 1, LAP_S), (3, 2, LAP_S), (2, 1, LAP_S - 3)])
def test_a_lap_takes_as_long_as_a_watch_shows_where_the_train_stands_in_most(every: int, stood: int, lap_s: float):
    """It stands for 3 s of each lap of 20 s, of two of three, or of every second one."""
    journey = Journey(0.0, 14.0)
    at_s = np.arange(4000) / 10
    span_s = LAP_S * every - 3 * (every - stood)
    runs = ((at_s - 5.0) % span_s >= 3.0) & ((stood < 2) | ((at_s - 5.0 - LAP_S) % span_s >= 3.0))
    journey.extend(np.full(len(at_s), 14.0), runs, np.ones(len(at_s), dtype=bool), np.zeros(len(at_s), dtype=bool))
    search = SpotSearch(journey, 0.0)
    moments_s = [5.0 + span_s * k + LAP_S * n - 3 * max(0, n - stood) for k in range(6) for n in range(every)]
    spot = after(search, moments_s)[-1]
    assert spot.lap_s == pytest.approx(LAP_S - 3, rel=0.03)
    assert spot.lap_s + search.stands_s() == pytest.approx(lap_s, rel=0.03)


def test_one_passing_that_chatters_is_one_event():
    rng = np.random.default_rng(2)
    bursts = [at_s + 0.3 * k for at_s in np.cumsum(rng.uniform(8, 30, 12)) for k in range(5)]
    search = search_over(500)
    assert not any(spot.is_fixed for spot in after(search, [float(at_s) for at_s in bursts]))
    assert search.events == 12


def test_a_lap_that_is_met_twice_as_often_for_a_while_stays_the_lap():
    # A second train, half a lap behind, meets the spot between: every half lap explains all, and is a part of the lap only.
    spots = after(search_over(1200), sorted([*passings(55), *passings(8, first_s=5.0 + 15 * LAP_S + LAP_S / 2, seed=1)]))
    assert all(spot.lap_s == pytest.approx(LAP_S, rel=0.03) for spot in spots[8:20])
    assert spots[-1].is_fixed
    assert spots[-1].lap_s == pytest.approx(LAP_S, rel=0.03)
    assert spots[-1].fraction == pytest.approx(spots[10].fraction)


def test_few_of_many_at_one_place_is_not_told_as_one_place():
    rng = np.random.default_rng(3)
    moments_s = sorted([*passings(12), *rng.uniform(250, 1100, 45).tolist()])
    spots = after(search_over(1200), [at_s for at_s in moments_s if at_s < 1150])
    assert spots[11].is_fixed
    assert not spots[-1].is_fixed


def test_the_lap_of_another_engine_is_learned():
    # The slower engine's lap is no part of the first one's and no multiple of it.
    later = [260.0 + 31.0 * k for k in range(28)]
    spots = after(search_over(1200), [*passings(12), *later])
    assert spots[11].lap_s == pytest.approx(LAP_S, rel=0.03)
    assert spots[-1].lap_s == pytest.approx(31.0, rel=0.03)


def test_where_a_train_was_between_two_passings():
    search = search_over(400)
    after(search, passings(10))
    told = search.spot(FLAT)
    assert search.fraction_at(95.0) == pytest.approx((told.fraction + 0.5) % 1, abs=0.02)
    assert search.fraction_at(1e6) is None
    assert search.fraction_at(390.0) is None  # ten laps after the last passing


def test_seconds_without_readings_leave_what_follows_known():
    journey, ticks = Journey(0.0, 14.0), np.ones(100, dtype=bool)
    for volts, runs in ((14.0, ticks), (np.nan, ~ticks), (7.0, ticks)):
        journey.extend(np.full(100, volts), runs, ticks, ~ticks)
    # 10 s at usual volts, then 10 s at half of them: the logarithm's square of a half, as long as the way.
    half = 10.0 * 0.5**SPEED_POWERS
    assert journey.at(30.0) == pytest.approx(10.0 + half)
    assert journey.moved_at(30.0) == pytest.approx(half * np.log(2) ** 2)
