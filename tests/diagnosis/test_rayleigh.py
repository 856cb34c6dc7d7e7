"""The Rayleigh test against worked examples of the textbooks."""

import numpy as np
import pytest
from scipy.stats import circmean

from monitor.diagnosis.rayleigh import rayleigh, resultant_lengths

# Zar, Biostatistical Analysis, Ex. 26.2/27.1; Mardia & Jupp, Directional Statistics, Ex. 1.1 (roulette); Zar Ex. 27.2.
TEXTBOOK = [
    ([45, 55, 81, 96, 110, 117, 132, 154], 98.99, 0.82522, 0.001852),
    ([43, 45, 52, 61, 75, 88, 88, 279, 357], 51.05, 0.71099, 0.007036),
    ([66, 75, 86, 88, 88, 93, 97, 101, 118, 130], 94.05, 0.95214, 5.30e-6),
]


@pytest.mark.parametrize(("degrees", "mean", "length", "p_value"), TEXTBOOK)
def test_textbook_examples(degrees: list[int], mean: float, length: float, p_value: float):
    found = rayleigh(np.array(degrees) / 360)
    assert found.fraction * 360 == pytest.approx(mean, abs=0.006)
    assert found.length == pytest.approx(length, abs=6e-6)
    assert found.p_value == pytest.approx(p_value, rel=2e-3)
    assert found.fraction * 360 == pytest.approx(circmean(degrees, high=360), abs=1e-6)


def test_p_value_stays_positive_where_the_series_form_turns_negative():
    degrees = np.array([66, 75, 86, 88, 88, 93, 97, 101, 118, 130])
    n = len(degrees)
    found = rayleigh(degrees / 360)
    z = n * found.length**2
    # Series form as astropy.stats.rayleightest computes it: known to go negative for this very example.
    series = np.exp(-z) * (1 + (2 * z - z**2) / (4 * n) - (24 * z - 132 * z**2 + 76 * z**3 - 9 * z**4) / (288 * n**2))
    assert series < 0 < found.p_value


def test_folding_at_half_the_lap_passes_as_well():
    rng = np.random.default_rng(1)
    times_s = 23.4 * np.arange(13) + rng.normal(0, 0.4, 13)
    lap, off, double, half = resultant_lengths(times_s, np.array([23.4, 1.07 * 23.4, 2 * 23.4, 23.4 / 2]))
    assert lap > 0.98
    assert half > 0.95
    assert max(off, double) < 0.3
