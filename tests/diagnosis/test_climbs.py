"""Climbs: sudden stalls, loads switched on, rheostats. A motor that cannot turn is a resistor (locked rotor); hills are the laps'."""

import numpy as np
import pytest

from tests.diagnosis.benches import Bench

STALLS = ((40.0, 50.0), (75.0, 87.0), (110.0, 118.0))


def binding(bench: Bench) -> list[float]:
    return [event.start_s for event in bench.diagnose()[0] if event.cause.value == "binding"]


@pytest.mark.parametrize("times", [1.55, 2.2])
def test_each_of_several_sudden_stalls_is_told_for_no_stall_teaches_what_laps_draw(times: float):
    bench = Bench(seconds=130, noise=0.06)
    for start_s, end_s in STALLS:
        stall = bench.rows(start_s, end_s)
        bench.load[stall, 0], bench.extra[stall, 0] = 0, 2.5 * times
    assert binding(bench) == pytest.approx([start_s for start_s, _ in STALLS], abs=0.3)


def test_a_load_of_as_many_amps_beside_a_train_that_runs_on_is_none():
    bench = Bench(seconds=130, noise=0.06)
    for start_s, end_s in STALLS:
        bench.extra[bench.rows(start_s, end_s), 0] = 2.5
    assert binding(bench) == []


def climbing(times: float, seconds: float = 90) -> Bench:
    """A train that labours from 60 s to 70 s, on rails whose laps hardly rise."""
    bench = Bench(seconds=seconds, grade=0.02)
    labours = bench.rows(60, 70)
    bench.load[labours, 0] = 1 + (times - 1) * np.clip((bench.at_s[labours] - 60) / 0.8, 0, 1)
    return bench


def test_volts_that_fall_with_the_amps_as_behind_a_rheostat_bind_nothing():
    assert len(binding(climbing(1.3))) == 1
    behind = climbing(1.3)
    labours = behind.rows(60, 70)
    behind.open_volts[labours, 0] *= 1 - 0.1 * np.clip((behind.at_s[labours] - 60) / 0.8, 0, 1)
    assert binding(behind) == []


def test_soon_after_a_press_a_hill_of_the_other_way_round_binds_nothing():
    turned = climbing(1.3)
    turned.fed[turned.rows(48, 48.6), 0] = 0
    assert binding(turned) == []
    far_above = climbing(1.8)
    far_above.fed[far_above.rows(48, 48.6), 0] = 0
    assert len(binding(far_above)) == 1
