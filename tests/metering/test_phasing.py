"""Phasing of two supplies on one board."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.layout import parse_layout
from monitor.layout.joined_commons import COMMONS
from monitor.metering.phasing import circulating_amps, difference_volts, source_ohms
from tests.layout.fernhollow import FERNHOLLOW
from tests.metering.converter import identity_of, joined, layout_of, metered, phase_cut, sine

LAYOUT = layout_of(2, supplies=2)


def phased(one, other, seconds=2.5):
    return metered([one, sine(1), other, sine(1)], seconds, layout=LAYOUT, identity=identity_of(4)).phasings


@pytest.mark.parametrize(
    ("volts", "degrees", "difference"),
    # Commons joined, volts between the hot posts: |U1 - U2| in phase, U1 + U2 opposed (textbook; ngspice 36.000 and 4.000 V).
    [((18, 18), 0, 0.0), ((18, 18), 180, 36.0), ((18, 14), 0, 4.0), ((18, 14), 180, 32.0), ((16, 16), 90, 16 * np.sqrt(2))],
)
def test_difference_of_sines(volts, degrees, difference):
    assert between(volts, (0, 0), degrees, (180, 180)) == pytest.approx(difference, abs=1e-6)


def between(*figures):
    return float(difference_volts(*(np.array(each, dtype=float)[..., None] for each in figures))[0])


@given(st.tuples(st.floats(0, 20), st.floats(0, 20)), st.floats(-360, 360), st.tuples(st.floats(20, 180), st.floats(20, 180)))
@settings(deadline=None, max_examples=60)
def test_difference_of_cut_sines_is_that_of_the_waves_point_by_point(volts, degrees, conduction):
    angles = (np.arange(400_000) + 0.5) * 2 * np.pi / 400_000
    waves = []
    for rms, shift, live in zip(volts, (np.radians(degrees), 0.0), np.radians(conduction), strict=True):
        wave = np.where((angles + shift) % np.pi >= np.pi - live, np.sin(angles + shift), 0.0)
        waves.append(rms * wave / np.sqrt(np.mean(wave**2)))
    assert between(volts, (0, 0), degrees, conduction) == pytest.approx(float(np.std(waves[0] - waves[1])), abs=0.02)


def test_difference_with_an_offset():
    assert between((np.sqrt(16**2 + 3**2), 16), (3, 0), 0, (180, 180)) == pytest.approx(3)


@pytest.mark.parametrize(("difference", "amps"), [(36.0, 60.0), (4.0, 6.667)])
def test_circulating_amps(difference, amps):
    # 0.3 ohm each (ngspice 60.000 and 6.667 A).
    assert circulating_amps(difference, 0.3, 0.3) == pytest.approx(amps, abs=0.001)


def test_circulating_amps_needs_an_impedance():
    with pytest.raises(ValueError, match="above 0 ohms"):
        circulating_amps(4, 0, 0)


def test_source_impedance_from_the_plate():
    # 180 VA at 18 V are 10 A; a tenth of 18 V lost at 10 A is 0.18 ohm.
    assert source_ohms(parse_layout(FERNHOLLOW).supply_named("North bench")) == pytest.approx(0.18)


@pytest.mark.parametrize(
    ("degrees", "verdict", "difference"), [(0, "in-phase", 4.0), (180, "anti-phase", 32.0), (120, "unrelated", None)]
)
def test_verdicts_on_sines(degrees, verdict, difference):
    (phasing,) = phased(sine(18), sine(14, degrees=degrees))
    assert phasing.supplies == ("Supply 0", "Supply 1")
    assert phasing.verdict == verdict
    assert abs(phasing.degrees) == pytest.approx(degrees, abs=1)
    if difference is not None:
        assert phasing.difference_volts == pytest.approx(difference, abs=0.3)
        assert phasing.circulating_amps == pytest.approx(difference / 0.36, rel=0.1)


@pytest.mark.parametrize("opposed", [False, True])
def test_verdicts_on_phase_cut_outputs(opposed):
    cut = phase_cut(16, 100)
    (phasing,) = phased(sine(14), lambda t: cut(t) * (-1 if opposed else 1))
    assert phasing.verdict == ("anti-phase" if opposed else "in-phase")


def test_another_mains_is_unrelated():
    assert {p.verdict for p in phased(sine(16, 60), sine(14, 61.5), 4)} == {"unrelated"}


def test_advice_always_names_the_ban_and_the_back_feed():
    for degrees in (0, 180, 120):
        (phasing,) = phased(sine(18), sine(14, degrees=degrees))
        assert COMMONS in phasing.advice
        if degrees == 180:
            assert phasing.advice.index("Switch the strip off first") < phasing.advice.index("turn one of the two round")
        assert "Local codes" in phasing.advice


def test_nothing_is_said_of_an_output_that_is_off_or_moves_or_is_dc():
    assert phased(sine(16), lambda t: 0 * t) == []
    assert phased(sine(16), lambda t: sine(14)(t) * (0.3 + 0.25 * t)) == []
    dc = layout_of(2, supplies=2, current="dc")
    assert metered([sine(16), sine(1), sine(14), sine(1)], 2, layout=dc, identity=identity_of(4)).phasings == []


def test_a_steady_layout_is_told_once():
    made = metered([sine(16), sine(1), sine(14), sine(1)], 12, layout=LAYOUT, identity=identity_of(4))
    assert len(made.phasings) == 1
    assert joined(made.aggregates, "good").all()
