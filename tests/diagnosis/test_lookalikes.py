"""What looks like a cause and is another, or none, on the bench of plain arithmetic: each pair apart by one fact.

What each looks like stands in the layout of causes of the sift output; currents by Ohm and Kirchhoff, as the bench works them out.
"""

from dataclasses import replace

import numpy as np
import pytest

from monitor.values import ReadingBlock
from tests.diagnosis.benches import Bench, bare, diagnose, layout


def causes(bench: Bench) -> set[str]:
    return {cause for cause, _ in bare(bench.diagnose()[0])}


def every(block: ReadingBlock, nth: int) -> ReadingBlock:
    """As a board sends that measures as often but speaks seldom."""
    arrays = {name: value[::nth] for name in block.__dataclass_fields__ if isinstance(value := getattr(block, name), np.ndarray)}
    return replace(block, **arrays)


def folded(until_s: float) -> Bench:
    """A short of 0.1 s on one district, then a limiter that gives 42 A into it: 1.5 and 0.5 V are left."""
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 20.1), 0] = 30
    bench.extra[bench.rows(20.1, until_s), 0] = 42
    bench.load[bench.rows(20.1, until_s), :2] = 0.05
    return bench


def test_a_limiter_that_folds_back_opens_nothing_and_its_neighbour_lost_no_feed():
    assert causes(folded(26)) <= {"short", "supply-sag"}
    assert ("short", "Outer main") in bare(folded(26).diagnose()[0])


def test_a_neighbour_that_loses_the_rest_of_its_volts_to_a_limiter_did_not_open():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 20.1), 0] = 30
    for fed, span in ((0.28, bench.rows(20.1, 21.4)), (0.155, bench.rows(21.4, 26))):
        bench.fed[span, :2], bench.extra[span, 0], bench.extra[span, 1] = fed, 3.0, 0.6
    assert "protection-open" not in causes(bench)


def test_a_limiter_that_gives_up_after_a_while_has_opened_then():
    bench = folded(24)
    bench.fed[bench.rows(24, 30), :2] = 0
    openings = [event for event in bench.diagnose()[0] if event.cause.value == "protection-open"]
    assert {event.district for event in openings} == {"Outer main", "Inner main"}
    assert all(event.start_s == pytest.approx(24, abs=0.2) and event.end_s == pytest.approx(30, abs=0.2) for event in openings)


@pytest.mark.parametrize("across_s", [0.15, 0.25, 0.6])
def test_a_train_on_the_rails_of_another_district_for_a_moment_lost_no_contact(across_s: float):
    bench = Bench(seconds=40)
    across = bench.rows(20, 20 + across_s)
    bench.load[across, 0] = 0
    assert causes(bench) == {"lost-contact"}
    bench.extra[across, 1] = 0.4 * 2.5
    assert causes(bench) == set()


@pytest.mark.parametrize(("share", "lasts_s"), [(0.7, 0.06), (0.0, 0.08), (0.0, 0.5)])
def test_mains_that_dip_for_a_moment_or_go_altogether_dip_everywhere(share: float, lasts_s: float):
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20.03, 20.03 + lasts_s)] = share
    assert [cause for cause, _ in bare(bench.diagnose()[0])] == ["mains-dip"] * 4


def test_two_supplies_that_dip_one_after_the_other_are_no_mains():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20.01, 20.04), :2] = 0.75
    bench.fed[bench.rows(20.06, 20.09), 2:] = 0.75
    assert "mains-dip" not in causes(bench)


def test_volts_that_beat_with_the_scans_in_every_cycle_are_no_dips_of_the_mains():
    """Chopped at some hundred hertz and read at a rate near it, each output by itself; its mean does not change."""
    bench = Bench(seconds=60, current="dc")
    beat = 1 - np.random.default_rng(5).uniform(0, 0.35, (bench.n // 20 + 1, 4))
    bench.open_volts *= beat.repeat(20, axis=0)[: bench.n]
    assert "mains-dip" not in causes(bench)


@pytest.mark.parametrize(("second_down_s", "second_up_s"), [(20.03, 20.75), (20.05, 20.5)])
def test_hands_on_switches_of_two_supplies_at_nearly_one_moment_are_no_dip_of_the_mains(second_down_s: float, second_up_s: float):
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 20.5), :2] = 0
    bench.fed[bench.rows(second_down_s, second_up_s), 2:] = 0
    assert "mains-dip" not in causes(bench)


def test_levers_of_two_supplies_turned_down_one_after_the_other_are_no_dip_in_lines_either():
    bench = Bench(seconds=40)
    for column, begins_s in enumerate((20.0, 20.0, 20.15, 20.15)):
        bench.fed[:, column] = np.interp(bench.at_s, [begins_s, begins_s + 0.4], [1.0, 0.5])
    assert "mains-dip" not in {cause for cause, _ in bare(diagnose(every(bench.readings(), 12), layout())[0])}


def test_hands_on_two_switches_of_a_supply_are_no_opening_for_they_do_not_close_together():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(10, 40), 0] = 8
    bench.fed[bench.rows(20, 20.6), 0] = 0
    bench.fed[bench.rows(20.02, 21.3), 1] = 0
    assert "protection-open" not in causes(bench)


def test_an_inrush_behind_a_press_is_no_short_that_opened_what_is_lost_next():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(19.5, 20.03), 0] = 0
    bench.extra[bench.rows(20.03, 20.08), 0] = 14
    bench.fed[bench.rows(20.8, 30), :2] = 0
    assert causes(bench) == {"direction-break", "feed-lost"}


@pytest.mark.parametrize(
    ("down_s", "up_s", "cause"), [(1.4, 23.4, "throttle"), (0.15, 22.6, "direction-break"), (0.5, 60.0, "throttle")]
)
def test_a_lever_that_slides_to_nothing_lost_no_feed_though_a_phase_cut_wave_wavers(down_s: float, up_s: float, cause: str):
    bench = Bench(seconds=40)
    wavers = 1 + 0.15 * np.sin(2 * np.pi * bench.at_s / 0.06) * (bench.at_s < 20 + down_s) * (bench.at_s > 20)
    bench.fed[:, 0] = np.interp(bench.at_s, [20, 20 + down_s, up_s - 0.1, up_s], [1, 0, 0, 1]) * wavers
    assert causes(bench) == {cause}


def sags(times_s: list[float], lasts_s: float = 1.0, edge_s: float = 0.2, depth: float = 0.4) -> set[str]:
    bench = Bench(seconds=170)
    for at_s in times_s:
        sag = bench.rows(at_s, at_s + lasts_s)
        to_edge_s = np.minimum(bench.at_s[sag] - at_s, at_s + lasts_s - bench.at_s[sag])
        bench.load[sag, 0] = 1 - depth * np.minimum(1, to_edge_s / edge_s)
    return causes(bench)


LAPS = [8 + 17 * lap for lap in range(9)]


def test_sags_alike_but_not_a_lap_apart_or_as_slow_as_hills_are_no_joint():
    assert sags([LAPS[0], LAPS[1], LAPS[3]]) == {"weak-joint"}  # one of the laps went unseen
    assert sags([20, 48, 60, 91]) == set()
    assert sags(LAPS[:2]) == set()
    for edge_s in (0.8, 1.1):
        assert sags(LAPS, lasts_s=2.3, edge_s=edge_s, depth=0.6) == set()
    assert sags(LAPS, lasts_s=0.2, edge_s=0.08) <= {"lost-contact"}


@pytest.mark.parametrize(("climbing", "cause"), [(9, "weak-joint"), (2, "weak-joint"), (1, "lost-contact"), (0, "lost-contact")])
def test_one_step_down_and_up_is_a_joint_s_where_the_amps_climb_meanwhile(climbing: int, cause: str):
    """A motor that slows makes less volts of its own and takes more, if only in two laps; the lamps of a train without contact do not."""
    bench = Bench(seconds=170, noise=0.002)
    for lap, at_s in enumerate(LAPS):
        dip = bench.rows(at_s, at_s + 0.5)
        bench.load[dip, 0] = 0.4 + 0.04 * (lap < climbing) * (bench.at_s[dip] - at_s) / 0.5
    assert causes(bench) == {cause}


def two_trains(on_s: float) -> Bench:
    """Beside the district's train another of 2.5 A, on the rails from some moment on, that stands without contact from 60 s on."""
    bench = Bench(seconds=80, noise=0.03)
    other = 2.5 * (1 + np.random.default_rng(1).normal(0, 0.05, bench.n // 20 + 1).repeat(20)[: bench.n])
    there = (bench.at_s > on_s) & (bench.at_s < 60)
    bench.extra[:, 0] = other * there
    return bench


def test_one_of_two_trains_that_stands_and_a_load_switched_off_look_alike_so_neither_is_told():
    assert not two_trains(on_s=-1).diagnose()[0]
    assert "lost-contact" not in causes(two_trains(on_s=50))


def test_the_pauses_in_a_burst_of_pulses_are_no_lost_contact():
    bench = Bench(seconds=40)
    for k in range(4):
        bench.extra[bench.rows(20 + 0.9 * k, 20.5 + 0.9 * k), 0] = 3
    assert "lost-contact" not in causes(bench)


def test_what_goes_with_a_short_is_no_contact_that_was_lost():
    bench = Bench(seconds=40)
    for at_s in (20, 21.6):
        bench.extra[bench.rows(at_s, at_s + 1), 0] = 25
    assert causes(bench) <= {"short", "supply-sag"}


def test_volts_that_go_with_the_neighbour_s_soon_after_a_press_are_no_chatter():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(10, 21), 1] = 9
    bench.fed[bench.rows(20, 20.6), 0] = 0
    bench.fed[bench.rows(20.85, 28), :2] = 0
    found = bare(bench.diagnose()[0])
    assert ("direction-break", "Outer main") in found
    assert ("protection-open", "Inner main") in found
    assert "feed-lost" not in {cause for cause, _ in found}


def test_a_window_over_the_edge_of_a_break_makes_no_short():
    """12 A of a load leave three quarters of the volts; the cycle in which a hand breaks them shows fewer."""
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 20.2), 0] = 12
    bench.fed[bench.rows(20.2, 20.9), 0] = 0
    assert "short" not in causes(bench)


def test_a_short_of_half_a_cycle_that_opens_the_protection_is_a_short():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 20.01), 0] = 40
    bench.fed[bench.rows(20.01, 26), :2] = 0
    assert ("short", "Outer main") in bare(bench.diagnose()[0])


def test_readings_ten_a_second_do_not_tell_a_slammed_throttle_from_a_lost_feed():
    bench = Bench(seconds=40)
    bench.fed[:, 0] = 1 - np.clip((bench.at_s - 20) / 0.2, 0, 1)
    assert bare(diagnose(every(bench.readings(), 12), layout())[0]) == []


def test_a_limiter_that_folds_back_to_what_was_drawn_before_feeds_a_short_all_the_same():
    bench, shorted = Bench(seconds=40), slice(20_000, 23_000)
    bench.fed[shorted, 0], bench.extra[shorted, 0] = 0.05, 2.8  # of 14 V nothing is left to drive them
    (event,) = bench.diagnose()[0]
    assert (event.cause.value, event.start_s, event.end_s) == (
        "short",
        pytest.approx(20, abs=0.1),
        pytest.approx(23, abs=0.1),
    )


@pytest.mark.parametrize("pause_s", [0.7, 1.2])
def test_a_heater_s_pause_is_no_lost_contact_and_a_motor_that_starts_again_lost_it(pause_s: float):
    """1.3 A beside a train of 2.5 A, away and back with sharp edges; only a motor that stopped takes more behind it."""
    bench = Bench(seconds=40, noise=0.0)
    off, back = bench.rows(20, 20 + pause_s), bench.rows(20 + pause_s, 40)
    bench.extra[:, 0] = 1.3
    bench.extra[off, 0] = 0
    assert not causes(bench)
    bench.extra[back, 0] += 1.3 * np.exp(-(bench.at_s[back] - 20 - pause_s) / 0.3)
    assert causes(bench) == {"lost-contact"}


@pytest.mark.parametrize(("nth", "confidence"), [(1, 0.96), (12, 0.75)])
def test_a_train_whose_motor_shows_no_ripple_stands_without_contact_too(nth: int, confidence: float):
    bench = Bench(seconds=40, noise=0.0)
    bench.load[bench.rows(20, 27), 0] = 0
    (event,) = diagnose(every(bench.readings(), nth), layout())[0]
    assert (event.cause.value, event.confidence) == ("lost-contact", confidence)
    assert event.end_s == pytest.approx(27, abs=0.3)


def dropped_out() -> Bench:
    """A train of 2.5 A that lost contact for 0.3 s at 20 s and stands in neutral until a hand steps it on at 30 s."""
    bench = Bench(seconds=40, noise=0.002)
    bench.load[bench.rows(20, 30.5), 0] = 0
    bench.fed[bench.rows(30, 30.5), 0] = 0
    return bench


def test_a_train_in_neutral_whose_reversing_unit_takes_half_its_amps_stands_without_contact():
    bench = dropped_out()
    bench.extra[bench.rows(20.3, 30), 0] = 1.1
    assert bare(bench.diagnose()[0]) == [("lost-contact", "Outer main"), ("direction-break", "Outer main")]


@pytest.mark.parametrize(("surge", "back_s"), [(1.5, 8.0), (0.55, 8.03)])
def test_a_train_that_stands_without_contact_in_each_lap_is_told_each_time(surge: float, back_s: float):
    """Back after 8 s of 18 it takes more for some tenths of a second (a motor that starts), however fast that fades."""
    bench = Bench(seconds=120, noise=0.02, grade=0.0)
    for at_s in range(10, 110, 18):
        bench.load[bench.rows(at_s, at_s + back_s), 0] = 0
        back = bench.rows(at_s + back_s, at_s + 10)
        bench.load[back, 0] += surge * np.exp(-(bench.at_s[back] - at_s - back_s) / 0.15)
    assert bare(bench.diagnose()[0]) == [("lost-contact", "Outer main")] * 6


def test_a_neighbour_under_a_hand_at_that_moment_lost_and_took_no_train():
    bench = dropped_out()
    bench.fed[bench.rows(20.05, 20.6), 1] = 0
    assert ("lost-contact", "Outer main") in bare(bench.diagnose()[0])


def test_a_load_that_was_switched_on_and_is_switched_off_beside_a_small_train_is_no_stand():
    bench = Bench(seconds=60, lamp_amps=(0.0, 0.3, 0.2, 0.9), train_amps=(0.3, 2.0, 1.2, 0.0))
    bench.extra[bench.rows(15, 40), 0] = 1.5
    assert "lost-contact" not in causes(bench)


def test_a_load_of_more_than_any_train_draws_that_is_switched_off_is_no_stand():
    bench = Bench(seconds=40, noise=0.0, lamp_amps=(0.0, 0.3, 0.2, 0.9), train_amps=(0.3, 2.0, 1.2, 0.0))
    bench.extra[bench.rows(10, 25), 0] = 7
    assert "lost-contact" not in causes(bench)


def test_a_press_at_the_last_live_lever_of_a_supply_is_no_opening():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(15, 40), 0] = 9
    bench.fed[bench.rows(19, 21.5), 1] = 0
    bench.fed[bench.rows(20, 20.5), 0] = 0
    assert ("direction-break", "Outer main") in bare(bench.diagnose()[0])
    assert "protection-open" not in causes(bench)


@pytest.mark.parametrize(("down_to", "in_s"), [(0.5, 0.3), (0.3, 0.3), (0.3, 0.5)])
def test_levers_of_two_supplies_that_go_down_together_are_no_dip_of_the_mains(down_to: float, in_s: float):
    bench = Bench(seconds=40)
    bench.fed *= np.interp(bench.at_s, [20, 20 + in_s], [1.0, down_to])[:, None]
    assert "mains-dip" not in causes(bench)
    # The mains fall within a cycle or two.
    bench.fed = np.where(bench.at_s > 20, down_to, 1.0)[:, None] * np.ones((1, 4))
    bench.fed[bench.rows(20.5, 40)] = 1.0
    assert causes(bench) == {"mains-dip"}


@pytest.mark.parametrize(("surge", "rise_s"), [(0.8, 0.5), (1.6, 0.5), (1.6, 0.8)])
def test_the_surge_behind_a_weak_section_fades_so_nothing_binds(surge: float, rise_s: float):
    """A motor that slowed on the section gathers way behind it: more amps within half a second, half of that gone in another."""
    bench = Bench(seconds=80)
    behind = np.clip((bench.at_s - 57) / rise_s, 0, 1)
    bench.load[bench.rows(50, 57), 0] = 0.5
    bench.load[57_000:, 0] = 0.5 + 0.5 * behind[57_000:]
    bound = bench.load[:, 0] + 0.8 * behind
    bench.load[:, 0] += surge * behind * np.exp(-np.maximum(0, bench.at_s - 57 - rise_s))
    assert "binding" not in causes(bench)
    bench.load[:, 0] = np.where(bench.at_s > 65, 1.0, bound)
    assert "binding" in causes(bench)
