"""The evidence for a spot: as seldom great by chance as Ville's inequality says, and great where one of two trains returns to it."""

import numpy as np
import pytest

from monitor.diagnosis.laps import LAPS_S
from monitor.diagnosis.spot_filter import Gone, SpotFilter

STEADY = np.zeros(1)


def evidence(at_s: np.ndarray) -> tuple[np.ndarray, SpotFilter]:
    """Natural logarithm of the mean evidence over all laps after each event, at constant speed."""
    spots = SpotFilter(LAPS_S, np.zeros(len(LAPS_S), dtype=np.intp))
    told, last_s = [], 0.0
    for moment_s in at_s.tolist():
        spots.advance(Gone(np.array([moment_s - last_s]), STEADY))
        spots.event(np.zeros(1))
        last_s = moment_s
        told.append(float(np.logaddexp.reduce(spots.log_evidence) - np.log(len(LAPS_S))))
    return np.array(told), spots


def two_trains(first_s: float, second_s: float, seed: int, *, span_s: float = 330.0) -> np.ndarray:
    """Passings of one place by two trains; a lap wavers by a hundredth, and one loss in ten does not happen."""
    rng = np.random.default_rng(seed)
    passes = [
        np.cumsum(np.concatenate([rng.uniform(0, lap_s, 1), lap_s * rng.normal(1, 0.01, int(span_s / lap_s))]))
        for lap_s in (first_s, second_s)
    ]
    at_s = np.sort(np.concatenate(passes))
    return at_s[rng.random(len(at_s)) < 0.9]


@pytest.mark.parametrize(("first_s", "second_s"), [(24.0, 27.0), (33.0, 28.0), (16.0, 14.0)])
def test_one_train_s_lap_is_found_beside_another_s(first_s: float, second_s: float):
    right = 0
    for seed in range(10):
        told, spots = evidence(two_trains(first_s, second_s, seed))
        lap_s = float(LAPS_S[spots.log_evidence.argmax()])
        right += told.max() > np.log(100) and any(abs(lap_s / true_s - 1) < 0.05 for true_s in (first_s, second_s))
    assert right >= 7


@pytest.mark.parametrize("mean_s", [7.0, 25.0])
def test_events_at_random_bring_great_evidence_as_seldom_as_ville_s_inequality_says(mean_s: float):
    rng = np.random.default_rng(1)
    highest = np.array([evidence(np.cumsum(rng.exponential(mean_s, 40)))[0].max() for _ in range(60)])
    # At most one in twenty may reach 20: of 60, more than 7 would come by chance once in a hundred times (binomial).
    assert (highest > np.log(20)).sum() <= 7


def test_the_place_is_followed_where_the_clock_drifts():
    # The lap is 1.5 % longer than the clock believes: after 40 laps the spot went more than half way round on the clock.
    lap_s = 20.0
    spots = SpotFilter(np.array([lap_s]), np.zeros(1, dtype=np.intp))
    for _ in range(40):
        spots.advance(Gone(np.array([1.015 * lap_s]), STEADY))
        off = (spots.clock[0] - spots.place() + 0.5) % 1 - 0.5
        spots.event(np.zeros(1))
    assert spots.clock[0] == pytest.approx(40 * 0.015 % 1, abs=1e-6)
    assert abs(off) < 0.05


def test_passing_without_an_event_speaks_against_the_place_passed():
    spots = SpotFilter(np.array([20.0]), np.zeros(1, dtype=np.intp))
    spots.advance(Gone(np.array([12.0]), STEADY))
    # Nothing happened on six tenths of the lap, so the spot is rather on the rest.
    assert spots.place() == pytest.approx(0.8, abs=0.03)
    spots.event(np.zeros(1))
    assert spots.place() == pytest.approx(0.6, abs=0.03)


def test_a_train_that_was_away_passed_nothing():
    spots = SpotFilter(np.array([20.0]), np.zeros(1, dtype=np.intp))
    spots.advance(Gone(np.array([12.0]), STEADY, here=False))
    assert spots.log_evidence[0] == pytest.approx(0.0, abs=1e-9)
    assert spots._density.std() < 1e-9
