"""Edges of phase-cut waveforms: whose samples hardly creep along them, against closed forms; behind a board's filter, against an oracle."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.metering import BoardMeter
from monitor.values import SampleBlock
from tests.metering import front_end
from tests.metering.converter import (
    FULL_AMPS,
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


def behind_the_filter(mains, *, scans_a_second=1238.39, seconds=6.0, from_s=1.0, filter_us=56.4):
    """Errors of volts, amps and watts in per cent of full scale: p99 of one cycle, highest of 200 ms and of 3 s."""
    identity = identity_of(2, interval_s=1 / scans_a_second, skew_s=80.75e-6)
    waves = [lambda t: mains.sampled(t, 0), lambda t: mains.sampled(t, 1)]
    counts = front_end.counts_of(waves, identity, seconds, start_s=0.0123)
    made = metered_counts(counts, identity, layout_of(1, 50 if mains.hertz < 55 else 60, filter_us=filter_us))
    errors = []
    for name, scale, true in zip(
        ("volts_rms", "amps_rms", "watts"), (FULL_VOLTS, FULL_AMPS, FULL_VOLTS * FULL_AMPS), mains.truth(), strict=True
    ):
        cycles, windows = (
            joined(blocks, name)[joined(blocks, "start_s") >= from_s, 0] for blocks in (made.readings, made.aggregates)
        )
        power = 1 if name == "watts" else 2
        means = np.convolve(windows**power, np.ones(15) / 15, "valid") ** (1 / power)
        one_cycle = np.percentile(np.abs(cycles - true), 99)
        errors.append([100 * float(e) / scale for e in (one_cycle, np.abs(windows - true).max(), np.abs(means - true).max())])
    return np.array(errors)


AIM = [0.5, 0.2, 0.1]


@pytest.mark.parametrize("edge_us", [0, 60, 250])
@pytest.mark.parametrize("degrees", [20, 45, 90, 120, 135, 155])
def test_edges_behind_the_board_s_filter(degrees, edge_us):
    assert (behind_the_filter(front_end.CutMains(degrees=degrees, edge_s=edge_us * 1e-6, hertz=60.03)) <= AIM).all()


@pytest.mark.parametrize("hertz", [47, 50.02, 53, 57, 59.94, 63])
def test_edges_of_mains_far_off_their_nominal_frequency(hertz):
    assert (behind_the_filter(front_end.CutMains(degrees=90, edge_s=50e-6, hertz=hertz)) <= AIM).all()


@pytest.mark.parametrize("scans_a_second", [1200, 1202, 1600, 2400, 4000])
def test_edges_at_other_scan_rates(scans_a_second):
    mains = front_end.CutMains(degrees=90, edge_s=100e-6, hertz=60.03)
    assert (behind_the_filter(mains, scans_a_second=scans_a_second) <= AIM).all()


@pytest.mark.parametrize("degrees", [45, 90, 135])
def test_half_cycles_that_fire_four_degrees_apart(degrees):
    assert (behind_the_filter(front_end.CutMains(degrees=degrees, unequal=4, edge_s=50e-6, hertz=60.03)) <= AIM).all()


@pytest.mark.parametrize(("degrees", "phase"), [(45, 0), (45, 180), (90, 0), (90, 180), (135, 0), (135, 180)])
def test_three_per_cent_of_third_harmonic(degrees, phase):
    mains = front_end.CutMains(degrees=degrees, third=0.03, third_degrees=phase, edge_s=50e-6, hertz=60.03)
    assert (behind_the_filter(mains) <= AIM).all()


@pytest.mark.parametrize("ratio", [9.98, 9.995, 10.01, 10.02])
@pytest.mark.parametrize("degrees", [45, 90])
def test_samples_that_hardly_creep_along_a_filtered_edge(degrees, ratio):
    from_s = max(1.0, crossed_s(ratio))
    mains = front_end.CutMains(degrees=degrees, edge_s=50e-6)
    errors = behind_the_filter(mains, scans_a_second=120 * ratio, seconds=from_s + 5, from_s=from_s)
    assert (errors <= AIM).all()


@pytest.mark.parametrize("hertz", [60.0, 60.03])
def test_a_board_without_the_filter_that_its_layout_supposes(hertz):
    mains = front_end.CutMains(degrees=90, hertz=hertz, tau_s=(0.0, 0.0))
    assert (behind_the_filter(mains) <= AIM).all()
