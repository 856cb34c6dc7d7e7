"""What holds for whatever comes: no dependence on cutting, holes, channels that are not there, identities that cannot be."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.metering import BoardMeter, Metered
from monitor.values import Channel, FindingKind
from tests.metering.converter import (
    INTERVAL_S,
    SKEW_S,
    blocks_of,
    counts_of,
    identity_of,
    joined,
    layout_of,
    metered,
    metered_counts,
    phase_cut,
    pulsed,
    sine,
)  # fmt: skip

IDENTITY = identity_of(6)
LAYOUT = layout_of(3, supplies=2)
FIGURES = ("start_s", "end_s", "volts_rms", "amps_rms", "watts", "volts_mean", "amps_mean", "volts_peak", "frequency_hz", "good")


def troubled_counts():
    """An offset, an edge, pulses; the reference channel goes dead for a while and comes back opposed; a stretch of noise; clipping."""
    waves = [sine(16, 60.2), sine(5, 60.2, -30), phase_cut(14, 100, 60.2), phase_cut(14, 100, 60.2, 5)]
    counts = counts_of([*waves, pulsed(12, 0.4, 97), pulsed(12, 0.4, 97, 4)], 5, identity=IDENTITY)
    counts[1500:2600, 0] = 512
    counts[2600:, 0] = 1024 - counts[2600:, 0]
    counts[3300:3500] = np.random.default_rng(5).integers(0, 1024, (200, 6))
    counts[4000:4600, 3] = 700
    counts[4700:5000, 1] = 1023
    return counts


COUNTS = troubled_counts()
WHOLE = metered_counts(COUNTS, IDENTITY, LAYOUT)


@given(st.lists(st.integers(1, 400), min_size=1, max_size=6))
@settings(max_examples=15, deadline=None)
def test_nothing_depends_on_how_samples_are_cut(sizes):
    cut = metered_counts(COUNTS, IDENTITY, LAYOUT, sizes)
    for name in FIGURES:
        for kind in ("readings", "aggregates"):
            one, other = joined(getattr(cut, kind), name), joined(getattr(WHOLE, kind), name)
            np.testing.assert_allclose(one.astype(float), other.astype(float), rtol=1e-9, atol=1e-9, err_msg=f"{kind} {name}")
    assert [row for block in cut.aggregates for row in block.waveform] == [row for b in WHOLE.aggregates for row in b.waveform]
    assert {(t.kind, t.channel, round(t.start_s, 6)) for t in cut.troubles} == {
        (t.kind, t.channel, round(t.start_s, 6)) for t in WHOLE.troubles
    }
    assert last_words(cut.disturbances) == last_words(WHOLE.disturbances)
    assert [(p.supplies, p.verdict, round(p.start_s, 6)) for p in cut.phasings] == [
        (p.supplies, p.verdict, round(p.start_s, 6)) for p in WHOLE.phasings
    ]


def last_words(disturbances):
    found = {}
    for d in disturbances:
        found[d.district, d.id] = (
            d.kind,
            round(d.start_s, 6),
            None if d.end_s is None else round(d.end_s, 6),
            round(d.extreme_volts, 6),
        )
    return sorted(((district, *word) for (district, _), word in found.items()), key=str)


@given(st.integers(300, 2500), st.integers(1, 4000))
@settings(max_examples=15, deadline=None)
def test_no_window_reaches_over_a_hole(first, lost):
    identity = identity_of(2)
    counts = counts_of([sine(16), sine(5)], 6, identity=identity)
    meter, readings = BoardMeter(layout_of(1), "bench-1"), []
    for block in blocks_of(counts[:first], identity, [97]):
        readings += meter.feed(block).readings
    resumed = first + lost
    later = blocks_of(counts[resumed:], identity, [97], start_s=resumed * INTERVAL_S, first_scan=resumed)
    for block in later:
        readings += meter.feed(block).readings
    readings += meter.finish().readings
    starts, ends = joined(readings, "start_s"), joined(readings, "end_s")
    assert not ((starts < resumed * INTERVAL_S) & (ends > first * INTERVAL_S)).any()
    assert (np.diff(ends) > 0).all()
    assert joined(readings, "volts_rms") == pytest.approx(16, abs=0.18)


def test_windows_start_at_zero_crossings():
    made = metered([sine(16, degrees=40), sine(5, degrees=40)], 3)
    phase = (joined(made.readings, "start_s") * 120 + 40 / 180) % 1
    assert np.minimum(phase, 1 - phase) == pytest.approx(0, abs=0.01)


def test_the_grid_survives_a_reference_that_dies_and_one_that_is_opposed():
    def dies(t):
        return np.where(t < 2, sine(16)(t), 0)

    made = metered([dies, sine(2), sine(10, degrees=180), sine(1, degrees=180)], 4, layout=layout_of(2, supplies=2))
    assert joined(made.readings, "volts_rms")[:, 1] == pytest.approx(10, abs=0.18)
    assert joined(made.readings, "frequency_hz") == pytest.approx(60, abs=0.02)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=10, deadline=None)
def test_any_samples_give_figures_and_nothing_else(seed):
    rng = np.random.default_rng(seed)
    counts = rng.integers(-32768, 32768, (1500, 6)).astype(np.int16)
    made = metered_counts(counts, IDENTITY, LAYOUT, [int(rng.integers(1, 700))])
    assert np.isfinite(joined(made.readings, "volts_rms")).all()


def test_a_channel_that_the_board_lacks_gives_nan_and_no_exception():
    made = metered_counts(COUNTS[:3000, :3], identity_of(3), LAYOUT)
    assert np.isnan(joined(made.readings, "amps_rms")[:, 1:]).all()
    assert np.isnan(joined(made.readings, "volts_rms")[:, 2]).all()
    assert np.isfinite(joined(made.readings, "volts_rms")[:, :2]).all()
    assert not joined(made.readings, "good")[:, 1:].any()


@pytest.mark.parametrize("change", [{"units_per_count": 0.0}, {"units_per_count": 1e9}, {"zero_counts": 1e6}, {"skew_s": 1.0}])
def test_an_absurd_channel_is_named_and_left_out(change):
    identity = identity_of(2)
    broken = dataclasses.replace(identity.channels[1], **change)
    identity = dataclasses.replace(identity, channels=(identity.channels[0], broken))
    made = metered_counts(COUNTS[:2000, :2], identity, layout_of(1))
    assert [(t.kind, t.channel) for t in made.troubles if t.kind is FindingKind.IMPLAUSIBLE] == [(FindingKind.IMPLAUSIBLE, 1)]
    assert np.isnan(joined(made.readings, "amps_rms")).all()
    assert np.isfinite(joined(made.readings, "volts_rms")).all()


@pytest.mark.parametrize("interval_s", [1e-9, 4.0])
def test_an_absurd_interval_is_named_and_nothing_metered(interval_s):
    identity = dataclasses.replace(identity_of(2, SKEW_S), scan_interval_s=interval_s)
    made = metered_counts(COUNTS[:100, :2], identity, layout_of(1))
    assert [(t.kind, t.channel) for t in made.troubles] == [(FindingKind.IMPLAUSIBLE, None)]
    assert made.readings == []


def test_a_signed_board_of_many_bits_is_metered_too():
    channel = Channel(quantity="V", skew_s=0.0, units_per_count=0.001, zero_counts=0.0)
    identity = dataclasses.replace(
        identity_of(2), channels=(channel, dataclasses.replace(channel, quantity="A", skew_s=2e-4)), scan_interval_s=1 / 860
    )
    times = np.arange(2000)[:, None] / 860 + np.array([0, 2e-4])
    counts = np.round(np.sin(2 * np.pi * 50 * times) * np.sqrt(2) * np.array([16000, 5000])).astype(np.int16)
    made = metered_counts(counts, identity, layout_of(1, 50))
    assert joined(made.readings, "volts_rms") == pytest.approx(16, abs=0.05)
    assert joined(made.readings, "watts") == pytest.approx(80, abs=0.5)
    assert made.troubles == []


def through_holes(pieces, sizes, at_once=1):
    meter, out = BoardMeter(LAYOUT, "bench-1"), Metered()
    blocks = [
        block
        for start, stop in pieces
        for block in blocks_of(COUNTS[start:stop], IDENTITY, sizes, start_s=start * INTERVAL_S, first_scan=start)
    ]
    for first in range(0, len(blocks), at_once):
        out.add(meter.feed(*blocks[first : first + at_once]))
    out.add(meter.finish())
    return out


@given(st.integers(0, 2**32 - 1), st.integers(1, 90), st.integers(2, 50))
@settings(max_examples=8, deadline=None)
def test_nothing_depends_on_cutting_where_packets_are_lost_either(seed, size, at_once):
    rng = np.random.default_rng(seed)
    pieces, start = [], 0
    while start < len(COUNTS):
        pieces.append((start, start + int(rng.integers(15, 400))))
        start = pieces[-1][1] + int(rng.integers(1, 1500 if rng.random() < 0.1 else 40))
    whole = through_holes(pieces, None)
    for cut in (through_holes(pieces, [size]), through_holes(pieces, [size], at_once), through_holes(pieces, None, at_once)):
        same_figures(cut, whole)


def same_figures(cut, whole):
    for name in FIGURES:
        one, other = joined(cut.readings, name), joined(whole.readings, name)
        np.testing.assert_allclose(one.astype(float), other.astype(float), rtol=1e-9, atol=1e-9, err_msg=name)
    np.testing.assert_allclose(joined(cut.aggregates, "volts_rms"), joined(whole.aggregates, "volts_rms"), rtol=1e-9, atol=1e-9)
    assert last_words(cut.disturbances) == last_words(whole.disturbances)
    assert [(p.verdict, round(p.start_s, 6)) for p in cut.phasings] == [(p.verdict, round(p.start_s, 6)) for p in whole.phasings]
