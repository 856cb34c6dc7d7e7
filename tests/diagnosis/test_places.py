"""Laps found in the current and verdicts on where events fall, on benches whose laps are known."""

import numpy as np
import pytest

from monitor.diagnosis.laps import laps, tracks
from tests.diagnosis.benches import Bench

LAP_S = 17.0


def lost_at(bench: Bench, district: int, moments_s: list[float], lasting_s: float = 0.2) -> None:
    for at_s in moments_s:
        bench.load[bench.rows(at_s, at_s + lasting_s), district] = 0


def test_lap_time_from_a_load_bump_in_noise():
    # The folding example worked out beside the textbook data: a bump of 2 s every 23.4 s, 10 Hz, 300 s.
    rng = np.random.default_rng(3)
    at_s = np.arange(3000) * 0.1
    amps = 2.0 + 0.5 * (at_s % 23.4 < 2.0) + rng.normal(0, 0.1, 3000)
    everywhere = np.ones(3000, dtype=bool)
    (track,) = tracks(np.full(3000, 14.0), amps, everywhere, ~everywhere)
    found = laps(track)
    shortest = min(lap.lap_s for lap in found if lap.correlation > 0.8 * found[0].correlation)
    assert shortest == pytest.approx(23.4, rel=0.01)


def test_lap_time_where_the_throttle_was_moved():
    # A motor whose speed is in proportion to its volts: the way gone, not the time, comes again.
    rng = np.random.default_rng(4)
    volts = np.where(np.arange(4000) < 2000, 14.0, 11.5)
    way_s = np.cumsum(volts / 14.0) * 0.1
    amps = volts / 7 * (1 + 0.2 * np.sin(2 * np.pi * way_s / 17)) + rng.normal(0, 0.05, 4000)
    moved = np.zeros(4000, dtype=bool)
    moved[1995:2005] = True
    by_time, in_proportion, *_ = tracks(volts, amps, np.ones(4000, dtype=bool), moved)
    best = max(laps(in_proportion), key=lambda lap: lap.correlation)
    timed = max(laps(by_time), key=lambda lap: lap.correlation, default=None)
    assert best.correlation > 0.9
    assert timed is None or timed.correlation < best.correlation


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_fixed_spot(seed: int):
    rng = np.random.default_rng(seed)
    bench = Bench(seconds=220, seed=seed)
    place = float(rng.random())
    lost_at(bench, 0, [(place + lap) * LAP_S + float(rng.normal(0, 0.2)) for lap in range(1, 12)])
    _, patterns = bench.diagnose()
    assert [(p.verdict, p.districts) for p in patterns] == [("fixed-spot", ("Outer main",))]
    assert patterns[0].lap_s == pytest.approx(LAP_S, rel=0.03)
    # What accumulates is the lap time's own error; the place is known to a small part of the lap.
    assert abs((patterns[0].lap_fraction - place + 0.5) % 1 - 0.5) < 0.1
    assert len(patterns[0].phases) == patterns[0].events
    assert all(abs((phase - patterns[0].lap_fraction + 0.5) % 1 - 0.5) < 0.1 for _, phase in patterns[0].phases)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_scattered(seed: int):
    rng = np.random.default_rng(seed)
    bench = Bench(seconds=220, seed=seed)
    lost_at(bench, 0, list(10 + np.cumsum(rng.uniform(4, 13, 22))))
    _, patterns = bench.diagnose()
    assert [(p.verdict, p.districts) for p in patterns] == [("scattered", ("Outer main",))]


def shuttle(seed: int) -> tuple[Bench, np.ndarray]:
    """A train that goes round through both main districts, half its lap in each."""
    bench = Bench(seconds=260, seed=seed, lap_s=(21.0, 21.0, 19.0, 10.0))
    here = np.clip(np.abs((bench.at_s % 21.0) / 21.0 - 0.5) * 80 - 20, 0, 1)
    bench.load[:, 0], bench.load[:, 1] = here, 1 - here
    return bench, here


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_follows_train_though_each_district_sees_it_for_half_the_lap_only(seed: int):
    rng = np.random.default_rng(seed)
    bench, here = shuttle(seed)
    for at_s in 10 + np.cumsum(rng.uniform(4, 13, 28)):
        span = bench.rows(at_s, at_s + 0.2)
        if here[span].min() > 0.99 or here[span].max() < 0.01:
            bench.load[span, :2] = 0
    _, patterns = bench.diagnose()
    assert [(p.verdict, set(p.districts)) for p in patterns] == [("follows-train", {"Outer main", "Inner main"})]


def test_a_spot_in_one_of_two_districts_that_share_a_train():
    bench, _ = shuttle(5)
    lost_at(bench, 0, [21.0 * lap + 2.0 for lap in range(1, 12)])
    _, patterns = bench.diagnose()
    assert [(p.verdict, p.districts) for p in patterns] == [("fixed-spot", ("Outer main",))]


def test_few_events_bring_no_verdict():
    bench = Bench(seconds=100)
    lost_at(bench, 0, [20.0, 31.0, 55.0, 70.0])
    assert bench.diagnose()[1] == []
