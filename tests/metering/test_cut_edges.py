"""Edges of phase-cut waveforms whose samples hardly creep along them, against closed forms and true one-cycle figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.metering import BoardMeter
from monitor.metering.cut_edges import STRETCH_HALVES, _carried
from monitor.values import SampleBlock
from tests.metering.converter import (
    FULL_VOLTS,
    blocks_of,
    counts_of,
    identity_of,
    joined,
    layout_of,
    metered,
    metered_counts,
)  # fmt: skip
from tests.metering.waveforms import cut_rms

HERTZ = 60
WITHIN = 0.005 * FULL_VOLTS


def cut_wave(degrees, *, trailing=False, load=1.0, hertz=HERTZ, third=0.0):
    """Both half cycles of a 16 V sine without their beginning (or end), degrees a number or a function of seconds."""

    def wave(t):
        angle = 2 * np.pi * hertz * t + 0.3
        part = angle % np.pi
        firing = np.radians(degrees(t) if callable(degrees) else degrees)
        live = part < np.pi - firing if trailing else part >= firing
        whole = np.sin(angle) + third * np.sin(3 * angle)
        return np.where(live, 16 * np.sqrt(2) * whole, 0.0) / load

    return wave


def board(ratio, hertz=HERTZ):
    """A board with so many samples a half cycle."""
    interval_s = 0.5 / hertz / ratio
    return identity_of(2, interval_s=interval_s, skew_s=interval_s / 8)


def crossed_s(ratio, hertz=HERTZ):
    """After so long a sample has crept across every place, and the figures of a cycle and a bit have followed."""
    return 0.5 / hertz / abs(ratio - 10) + 0.3


def volts_from(made, start_s):
    starts = joined(made.readings, "start_s")
    return joined(made.readings, "volts_rms")[starts >= start_s, 0]


@pytest.mark.parametrize("trailing", [False, True])
@pytest.mark.parametrize("ratio", [9.98, 9.995, 10.005, 10.02])
@pytest.mark.parametrize("degrees", [30, 60, 90, 120, 135])
def test_samples_that_hardly_creep_along_the_edge(degrees, ratio, trailing):
    seconds = crossed_s(ratio) + 3
    wave = cut_wave(degrees, trailing=trailing)
    made = metered([wave, lambda t: wave(t) / 4], seconds, identity=board(ratio))
    assert volts_from(made, crossed_s(ratio)) == pytest.approx(cut_rms(16, degrees), abs=WITHIN)


@pytest.mark.parametrize("hertz", [50, 60])
def test_a_scan_rate_that_drifts_through_a_whole_number_of_samples(hertz):
    # From 10.01 to 9.99 samples a half cycle: halfway the samples stand still for seconds, and the place is remembered.
    seconds, ratio = 16, 10.01
    turn = lambda t: t * (1 - 0.002 * t / (2 * seconds))  # noqa: E731 - the time that the board's clock shows
    wave = cut_wave(90, hertz=hertz)
    made = metered(
        [lambda t: wave(turn(t)), lambda t: wave(turn(t)) / 4], seconds, identity=board(ratio, hertz), layout=layout_of(1, hertz)
    )
    assert volts_from(made, crossed_s(ratio, hertz)) == pytest.approx(cut_rms(16, 90), abs=WITHIN)


def test_harmonics_turn_the_fitted_phase_and_hardly_move_the_edge():
    third = 0.02
    angles = (np.arange(100_000) + 0.5) / 100_000 * np.pi
    waves = np.where(angles >= np.pi / 2, np.sin(angles) + third * np.sin(3 * angles), 0.0)
    true = 16 * np.sqrt(2 * np.mean(waves**2))
    wave = cut_wave(90, third=third)
    made = metered([wave, lambda t: wave(t) / 4], crossed_s(10.005) + 5, identity=board(10.005))
    assert volts_from(made, crossed_s(10.005)) == pytest.approx(true, abs=WITHIN)


def test_an_edge_that_leaps_is_found_anew():
    wave = cut_wave(lambda t: np.where(t < 3, 60.0, 115.0))
    made = metered([wave, lambda t: wave(t) / 4], 6, identity=board(10.02))
    assert volts_from(made, 3 + crossed_s(10.02)) == pytest.approx(cut_rms(16, 115), abs=WITHIN)


def test_places_are_kept_over_lost_packets():
    identity, rng = board(10.016), np.random.default_rng(4)
    wave = cut_wave(90)
    counts = counts_of([wave, lambda t: wave(t) / 4], 12, identity=identity)
    meter, made = BoardMeter(layout_of(), "bench-1"), []
    followed = False
    for block in blocks_of(counts, identity, [60]):
        if rng.random() < 0.2:
            followed = False
            continue
        made += meter.feed(follows(block, continues=followed)).readings
        followed = True
    made += meter.finish().readings
    starts, volts = joined(made, "start_s"), joined(made, "volts_rms")[:, 0]
    assert len(volts) > 700
    assert volts[starts >= 2] == pytest.approx(cut_rms(16, 90), abs=WITHIN)


def follows(block, *, continues):
    return SampleBlock(
        board=block.board,
        identity=block.identity,
        start_s=block.start_s,
        interval_s=block.interval_s,
        first_scan=block.first_scan,
        counts=block.counts,
        continues=continues,
    )


@pytest.mark.parametrize("hertz", [50, 60])
def test_a_deep_cut_runs_on_where_one_sample_a_half_cycle_tells_no_phase(hertz):
    # Cut at 150 degrees a half cycle has one live sample for a while and two for a while.
    wave = cut_wave(150, hertz=hertz)
    made = metered([wave, lambda t: wave(t) / 4], 7, layout=layout_of(1, hertz))
    assert volts_from(made, 1) == pytest.approx(cut_rms(16, 150), abs=WITHIN)
    assert joined(made.readings, "frequency_hz")[2 * hertz :] == pytest.approx(hertz, abs=0.02)


@given(st.lists(st.integers(1, 500), min_size=1, max_size=4))
@settings(max_examples=10, deadline=None)
def test_what_is_remembered_does_not_depend_on_how_samples_are_cut(sizes):
    identity = board(10.007)
    wave = cut_wave(lambda t: 120 + 30 * (t > 2))
    counts = counts_of([wave, lambda t: wave(t) / 4], 4, identity=identity)
    whole, cut = metered_counts(counts, identity, layout_of()), metered_counts(counts, identity, layout_of(), sizes)
    for name in ("start_s", "volts_rms", "watts", "frequency_hz"):
        np.testing.assert_allclose(joined(cut.readings, name), joined(whole.readings, name), rtol=1e-9, atol=1e-9)


@given(st.integers(0, 2**32 - 1), st.integers(1, 3 * STRETCH_HALVES))
@settings(max_examples=30, deadline=None)
def test_numbers_are_carried_through_intervals_as_one_by_one(seed, count):
    rng = np.random.default_rng(seed)
    least = rng.normal(size=(2, 3, count))
    most = least + rng.exponential(size=least.shape)
    start = rng.normal(size=(2, 3))
    moved, number = [], start
    for k in range(count):
        number = np.clip(number, least[..., k], most[..., k])
        moved.append(number)
    np.testing.assert_array_equal(_carried(start, least, most), np.stack(moved, axis=-1))
