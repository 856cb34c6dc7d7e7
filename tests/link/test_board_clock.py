import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.link import BoardClock
from tests.link.simulated_board import board_and_host, mapped

# Ceramic resonators: +-0.5 % initial tolerance is what their makers' data sheets state (common practice, no single source);
# warming up by some hundred ppm over minutes is the same makers' temperature figure over ten kelvin.
off_ppm = st.floats(-5000, 5000)
warm_ppm = st.floats(-500, 500)


@given(st.integers(0, 1000), off_ppm, off_ppm, warm_ppm, st.floats(200, 1200))
@settings(max_examples=3, deadline=None)
def test_two_boards_line_up_within_5_ms_over_an_hour(seed, first_ppm, second_ppm, warm, warm_s):
    errors = []
    for board, ppm in enumerate((first_ppm, second_ppm)):
        true_s, board_s, received_s = board_and_host(seed + board, off_ppm=ppm, warm_ppm=warm, warm_s=warm_s)
        stream_s, true_s = mapped(BoardClock(), board_s, received_s, every=8), true_s[::8]
        assert (np.diff(stream_s) > 0).all()
        settled = true_s > 60
        errors.append(np.interp(np.arange(61, 3599), true_s[settled], (stream_s - true_s)[settled]))
    assert np.abs(errors[0] - errors[1]).max() < 0.005


@given(st.integers(0, 1000), off_ppm, st.floats(0.001, 0.03), st.lists(st.floats(0, 90), min_size=1, max_size=20))
@settings(max_examples=8, deadline=None)
def test_the_mapping_never_falls_and_never_takes_back(seed, ppm, jitter_s, moments):
    _, board_s, received_s = board_and_host(seed, off_ppm=ppm, jitter_s=jitter_s, seconds=90)
    clock = BoardClock()
    before: dict[float, float] = {}
    for at_s, came_s in zip(board_s.tolist(), received_s.tolist(), strict=True):
        clock.observe(at_s, came_s)
        for moment in moments:
            if moment < at_s:
                value = float(clock.to_stream(np.array(moment)))
                assert value == pytest.approx(before.setdefault(moment, value), abs=1e-9)
        grid = clock.to_stream(np.linspace(0, at_s, 50))
        assert (np.diff(grid) >= 0).all()


@given(st.integers(0, 1000), off_ppm, st.floats(0.001, 0.03))
@settings(max_examples=8, deadline=None)
def test_the_drift_is_the_resonators_and_not_that_of_late_bytes(seed, ppm, jitter_s):
    _, board_s, received_s = board_and_host(seed, off_ppm=ppm, jitter_s=jitter_s, stall_share=0.2, seconds=150)
    clock, drifts = BoardClock(), []
    for at_s, came_s in zip(board_s.tolist(), received_s.tolist(), strict=True):
        clock.observe(at_s, came_s)
        drifts.append(clock.drift)
    early = board_s < 40
    assert (np.array(drifts)[early] == 1.0).all()
    assert np.array(drifts)[board_s > 60] == pytest.approx(1 / (1 + ppm * 1e-6), abs=1e-3)


def test_nothing_before_the_first_bytes_and_offline_marks_are_ignored():
    clock = BoardClock()
    clock.observe(0.0, 7.0)
    assert clock.to_stream(np.array([0.0, 1.0])).tolist() == [7.0, 7.0]
    assert clock.board_at(7.0) is None
    clock.observe(1.0, None)
    clock.observe(0.5, 8.0)
    assert float(clock.to_stream(np.array(0.5))) == pytest.approx(8.0)
    assert clock.board_at(9.0) == pytest.approx(1.5)


def test_a_board_that_was_away_goes_on_at_the_hosts_time():
    clock = BoardClock()
    _, board_s, received_s = board_and_host(3, off_ppm=3000, seconds=120)
    before = mapped(clock, board_s, received_s)
    back_s = received_s[-1] + 40.0
    board_back_s = clock.board_at(back_s)
    assert board_back_s - board_s[-1] == pytest.approx(40.0, abs=0.3)
    clock.reanchor(board_back_s)
    again_s, board_again_s, received_again_s = board_and_host(4, off_ppm=3000, seconds=120)
    after = mapped(clock, board_back_s + board_again_s, back_s + received_again_s)
    assert after[0] > before[-1]
    assert after[0] == pytest.approx(back_s + again_s[0], abs=0.03)
    # At once as good as after a minute: the rate was known already.
    assert after[50:] == pytest.approx(back_s + again_s[50:], abs=0.012)
    assert after[300:] == pytest.approx(back_s + again_s[300:], abs=0.004)
    np.testing.assert_allclose(clock.to_stream(board_s[-100:]), before[-100:], atol=1e-9)


def test_a_start_amid_old_bytes_is_made_good():
    true_s, board_s, received_s = board_and_host(5, off_ppm=-2000, seconds=200)
    received_s = np.where(true_s < 10, received_s + 0.3, received_s)
    error_s = mapped(BoardClock(), board_s, np.maximum.accumulate(received_s)) - true_s
    assert np.abs(error_s[true_s > 35]).max() < 0.005
    assert error_s.min() > -0.02


def test_a_board_that_lost_time_for_good_is_anchored_again():
    true_s, board_s, received_s = board_and_host(6, off_ppm=1000, seconds=200)
    received_s = np.where(true_s > 100, received_s + 3.0, received_s)
    error_s = mapped(BoardClock(), board_s, received_s) - (true_s + np.where(true_s > 100, 3.0, 0.0))
    assert np.abs(error_s[(true_s > 112)]).max() < 0.03
    assert np.abs(error_s[(true_s > 140)]).max() < 0.005


@pytest.mark.parametrize(("ppm", "warm"), [(300, 0), (-4000, 0), (50, 300)])
def test_a_clock_that_is_told_seldom_neither_swings_nor_runs_away(ppm, warm):
    """Told every half minute, by the least delayed bytes of it, it says what it says when told of every chunk."""
    true_s, board_s, received_s = board_and_host(7, off_ppm=ppm, warm_ppm=warm, warm_s=300, seconds=1800)
    often = mapped(BoardClock(), board_s, received_s)
    late_s, ends = received_s - true_s, np.searchsorted(true_s, np.concatenate([np.arange(1, 60) * 0.5, np.arange(30, 1801, 30)]))
    told = np.unique([first + int(np.argmin(late_s[first:last])) for first, last in itertools.pairwise(ends)])
    seldom, values = BoardClock(), []
    for first, last in zip([0, *(told[:-1] + 1)], told + 1, strict=True):
        seldom.observe(board_s[last - 1], received_s[last - 1])
        values.append(seldom.to_stream(board_s[first:last]))
    apart_s = np.concatenate(values) - often[: told[-1] + 1]
    assert np.abs(apart_s[true_s[: told[-1] + 1] > 5]).max() < 0.012


def test_any_shape_goes_in_and_comes_out():
    clock = BoardClock()
    clock.observe(2.0, 10.0)
    assert clock.to_stream(np.zeros((3, 2))).shape == (3, 2)
