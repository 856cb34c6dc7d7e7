"""Stillness: a stalled motor is a resistor (locked-rotor condition, any handbook of electric machines), so its amps stand still."""

import numpy as np
import pytest

from monitor.facts.stillness import waver_share

AT = np.arange(600) / 10
LAPS = 2 + 0.3 * np.sin(2 * np.pi * AT / 15) + 0.05 * np.sin(2 * np.pi * AT / 0.7)


@pytest.mark.parametrize(
    ("since", "share"),
    [
        pytest.param(LAPS[:30] + 1.5, (0.99, 3.0), id="a load beside a train that runs on"),
        pytest.param(np.full(30, 3.5) + 0.005 * np.cos(AT[:30] * 40), (0.0, 0.2), id="a motor that stands"),
    ],
)
def test_what_is_switched_on_adds_to_the_laps_and_what_stands_ends_them(since, share):
    assert share[0] <= waver_share(LAPS, since) <= share[1]


def test_ticks_that_do_not_count_and_too_few_of_them_show_nothing():
    quiet_first = np.concatenate([np.full(40, 2.0), LAPS])
    quiet_first[:40] = np.nan
    assert waver_share(quiet_first, LAPS[:30]) == pytest.approx(waver_share(LAPS, LAPS[:30]))
    assert waver_share(np.full(100, np.nan), LAPS[:30]) == waver_share(LAPS[:10], LAPS[:30]) == np.inf
