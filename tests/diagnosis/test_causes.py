"""One cause at a time on a bench of plain arithmetic; what each looks like stands in the layout of causes of the sift output."""

import numpy as np
import pytest

from monitor.values import Cause
from tests.diagnosis.benches import Bench, bare

AC_AND_DC = pytest.mark.parametrize(("hertz", "current"), [(60, "ac"), (50, "ac"), (50, "dc")])


def only(bench: Bench, cause: Cause, district: str = "Outer main"):
    events, _ = bench.diagnose()
    assert bare(events) == [(cause.value, district)]
    return events[0]


@AC_AND_DC
def test_quiet_running_brings_nothing(hertz: float, current: str):
    events, patterns = Bench(seconds=90, hertz=hertz, current=current).diagnose()
    assert (events, patterns) == ([], [])


@AC_AND_DC
@pytest.mark.parametrize("lasting_s", [0.06, 0.2, 0.45])
def test_lost_contact(hertz: float, current: str, lasting_s: float):
    bench = Bench(seconds=30, hertz=hertz, current=current)
    bench.load[bench.rows(20, 20 + lasting_s), 0] = 0
    event = only(bench, Cause.LOST_CONTACT)
    # Within one cycle.
    assert event.start_s == pytest.approx(20, abs=1 / hertz)
    assert event.end_s == pytest.approx(20 + lasting_s, abs=1 / hertz)
    assert event.evidence["amps_lowest"] < 0.5
    assert event.evidence["volts_during"] > event.evidence["volts_before"]


def test_dirt_of_half_a_cycle_is_no_event():
    bench = Bench(seconds=40)
    for at_s in np.arange(5, 38, 0.9):
        bench.load[bench.rows(at_s, at_s + 0.012), 0] = 0
    assert bench.diagnose()[0] == []


@pytest.mark.parametrize("lasting_s", [0.3, 0.8, 2.5])
def test_direction_break(lasting_s: float):
    bench = Bench(seconds=30)
    bench.fed[bench.rows(20, 20 + lasting_s), 0] = 0
    event = only(bench, Cause.DIRECTION_BREAK)
    assert event.start_s == pytest.approx(20, abs=1 / 60)
    assert event.end_s == pytest.approx(20 + lasting_s, abs=1 / 60)


def test_a_coasting_dc_motor_holds_volts_up_through_a_break():
    bench = Bench(seconds=30, current="dc", hertz=50)
    readings = bench.readings()
    down = (readings.start_s > 20) & (readings.end_s < 21)
    readings.amps_rms[down, 0] = 0.02
    readings.volts_rms[down, 0] = 8.0 * np.exp(-(readings.end_s[down] - 20))
    from tests.diagnosis.benches import diagnose, layout  # noqa: PLC0415 - used here alone

    events, _ = diagnose(readings, layout(50, "dc"))
    assert bare(events) == [("direction-break", "Outer main")]


def test_ragged_and_long_losses_are_the_feed():
    bench = Bench(seconds=60)
    bench.fed[bench.rows(20, 21), 0] = 0
    bench.fed[bench.rows(20.1, 20.14), 0] = 1
    bench.fed[bench.rows(20.2, 20.25), 0] = 1
    bench.fed[bench.rows(40, 48), 0] = 0
    events, _ = bench.diagnose()
    assert bare(events) == [("feed-lost", "Outer main")] * 2
    assert events[1].end_s == pytest.approx(48, abs=1 / 60)


def test_a_contact_that_chatters_faster_than_a_cycle_is_the_feed():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 21.2), 0] = 0
    for at_s in (20.05, 20.115, 20.18):
        bench.fed[bench.rows(at_s, at_s + 0.012), 0] = 1
    assert bare(bench.diagnose()[0]) == [("feed-lost", "Outer main")]


def test_protection_opens_after_an_overload_and_takes_the_whole_supply():
    bench = Bench(seconds=60)
    bench.extra[bench.rows(20, 35), 0] = 9
    bench.fed[bench.rows(35, 45), :2] = 0
    events, _ = bench.diagnose()
    found = bare(events)
    assert ("protection-open", "Outer main") in found
    assert ("protection-open", "Inner main") in found
    assert not {cause for cause, _ in found} - {"protection-open", "supply-sag"}
    opening = next(e for e in events if e.cause is Cause.PROTECTION_OPEN)
    assert opening.evidence["overload_lasted_s"] == pytest.approx(15, abs=0.3)


def test_one_district_dead_in_an_overload_is_a_hand():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 39), 1] = 5
    bench.fed[bench.rows(30, 30.8), 0] = 0
    events, _ = bench.diagnose()
    assert ("direction-break", "Outer main") in bare(events)
    assert "protection-open" not in {cause for cause, _ in bare(events)}


def test_short():
    bench = Bench(seconds=30)
    bench.extra[bench.rows(20, 20.1), 0] = 25
    bench.fed[bench.rows(20.1, 26), :2] = 0
    events, _ = bench.diagnose()
    short = next(e for e in events if e.cause is Cause.SHORT)
    assert short.district == "Outer main"
    assert short.start_s == pytest.approx(20, abs=1 / 60)
    assert short.end_s == pytest.approx(20.1, abs=1 / 60)
    assert {e.district for e in events if e.cause is Cause.PROTECTION_OPEN} == {"Outer main", "Inner main"}


def test_a_short_that_bounces_is_one_short():
    bench = Bench(seconds=30)
    bench.extra[bench.rows(20, 20.6), 0] = 25
    for at_s in (20.05, 20.2, 20.42):
        bench.extra[bench.rows(at_s, at_s + 0.04), 0] = 0
    events, _ = bench.diagnose()
    shorts = [e for e in events if e.cause is Cause.SHORT]
    assert len(shorts) == 1
    assert (shorts[0].start_s, shorts[0].end_s) == pytest.approx((20, 20.6), abs=1 / 60)


def test_a_heavy_load_that_fades_is_no_short():
    bench = Bench(seconds=30)
    on = bench.rows(20, 29)
    bench.extra[on, 3] = 7 + 4 * np.exp(-(bench.at_s[on] - 20) / 0.15)
    assert "short" not in {cause for cause, _ in bare(bench.diagnose()[0])}


def test_volts_that_a_neighbour_s_hand_takes_are_no_sag():
    bench = Bench(seconds=60)
    more = np.clip((bench.at_s - 30) / 0.6, 0, 1)
    bench.fed[:, 2] = 0.6 + 0.4 * more
    bench.extra[:, 2] = 5 * more
    before, after = (bench.open_volts[0, 3] - 0.4 * bench.extra[bench.rows(at_s, at_s + 1), 2].mean() for at_s in (20, 40))
    assert after < 0.85 * before
    assert "supply-sag" not in {cause for cause, _ in bare(bench.diagnose()[0])}


def test_supply_sag_is_seen_by_the_neighbours():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 24), 3] = 4
    events, _ = bench.diagnose()
    assert bare(events) == [("supply-sag", "Quarry branch"), ("supply-sag", "Town lights")]
    assert events[0].end_s == pytest.approx(24, abs=0.1)


def test_a_starting_train_is_no_sag():
    bench = Bench(seconds=40)
    surge = bench.rows(20, 24)
    bench.load[: surge.start, 0] = 0
    bench.load[surge, 0] = 1 + 2.2 * np.exp(-(bench.at_s[surge] - 20) / 0.5)
    assert bench.diagnose()[0] == []


def test_mains_dip_falls_on_every_supply():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 20.6)] = 0.6
    events, _ = bench.diagnose()
    assert [cause for cause, _ in bare(events)] == ["mains-dip"] * 4
    assert all(e.start_s == pytest.approx(20, abs=1 / 60) and e.end_s == pytest.approx(20.6, abs=1 / 60) for e in events)


def test_binding_climbs_gradually_and_stays():
    bench = Bench(seconds=80)
    bind = bench.rows(50, 56)
    bench.load[bind, 0] = np.minimum(1.7, 1 + 0.7 * (bench.at_s[bind] - 50) / 0.5)
    event = only(bench, Cause.BINDING)
    assert event.start_s == pytest.approx(50, abs=0.3)
    assert event.end_s == pytest.approx(56, abs=0.3)


def test_something_switched_on_is_no_binding():
    bench = Bench(seconds=80)
    bench.extra[bench.rows(50, 60), 0] = 1.8
    assert "binding" not in {cause for cause, _ in bare(bench.diagnose()[0])}


def test_a_train_that_drives_over_is_neither_lost_nor_binding():
    bench = Bench(seconds=80)
    bench.load[:, 1] = 0
    there = np.clip((bench.at_s - 40) / 0.8, 0, 1)
    bench.load[:, 0], bench.load[:, 1] = 1 - there, there
    assert bench.diagnose()[0] == []


def test_a_train_that_arrives_on_an_occupied_district_is_no_binding_nor_are_the_hills_of_both():
    bench = Bench(seconds=110)
    there = np.clip((bench.at_s - 45) / 0.2, 0, 1)
    hill = 0.35 * (np.abs((bench.at_s / 21) % 1 - 0.5) < 0.1)
    bench.load[:, 0] = 1 + there * (0.6 + hill)
    assert bench.diagnose()[0] == []


def test_dc_signal():
    bench = Bench(seconds=30)
    bench.offset[bench.rows(20, 21.5), 0] = -2
    event = only(bench, Cause.DC_SIGNAL)
    assert (event.start_s, event.end_s) == pytest.approx((20, 21.5), abs=1 / 60)
    assert event.evidence["offset_volts"] == pytest.approx(-2, abs=0.05)


def test_throttle():
    bench = Bench(seconds=50)
    bench.fed[:, 0] = 1 - 0.2 * np.clip((bench.at_s - 25) / 1.5, 0, 1)
    event = only(bench, Cause.THROTTLE)
    assert event.start_s == pytest.approx(25, abs=0.3)


def test_weak_joint_lap_after_lap_at_one_place():
    bench = Bench(seconds=170)
    for lap in range(9):
        at_s = 8 + 17 * lap
        dip = bench.rows(at_s, at_s + 1)
        bench.load[dip, 0] = 1 - 0.4 * np.minimum(1, np.minimum(bench.at_s[dip] - at_s, at_s + 1 - bench.at_s[dip]) / 0.2)
    events, patterns = bench.diagnose()
    assert bare(events) == [("weak-joint", "Outer main")] * 9
    assert events[-1].confidence > 0.9
    assert [(p.verdict, p.districts) for p in patterns] == [("fixed-spot", ("Outer main",))]
    assert patterns[0].lap_s == pytest.approx(17, rel=0.03)


def test_a_channel_that_hangs_is_no_train_without_contact():
    bench = Bench(seconds=40)
    readings = bench.readings()
    readings.amps_rms[readings.end_s > 20, 0] = 0.12
    from tests.diagnosis.benches import diagnose, layout  # noqa: PLC0415 - used here alone

    assert "lost-contact" not in {cause for cause, _ in bare(diagnose(readings, layout())[0])}


def test_a_train_whose_reversing_unit_drops_out_is_told_while_it_stands_and_ends_at_the_press():
    bench = Bench(seconds=40, noise=0.05)
    bench.load[bench.rows(20, 27), 0] = 0
    bench.fed[bench.rows(27, 27.6), 0] = 0
    events, _ = bench.diagnose()
    assert bare(events) == [("lost-contact", "Outer main"), ("direction-break", "Outer main")]
    assert (events[0].start_s, events[0].end_s) == pytest.approx((20, 27), abs=0.2)


def test_a_press_after_an_overload_is_a_hand_s_while_the_neighbour_keeps_its_volts():
    bench = Bench(seconds=40)
    bench.extra[bench.rows(20, 26), 0] = 9
    bench.fed[bench.rows(26, 26.6), 0] = 0
    assert ("direction-break", "Outer main") in bare(bench.diagnose()[0])
    assert "protection-open" not in {cause for cause, _ in bare(bench.diagnose()[0])}


def test_a_press_on_the_last_live_district_is_a_hand_s():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 21), 1] = 0
    bench.fed[bench.rows(20.3, 20.9), 0] = 0
    assert bare(bench.diagnose()[0]) == [("direction-break", "Inner main"), ("direction-break", "Outer main")]


def test_inrush_that_begins_with_the_volts_is_no_short():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 20.6), 0] = 0
    on = bench.rows(20.6, 22)
    bench.extra[on, 0] = 24 * np.exp(-(bench.at_s[on] - 20.6) / 0.04)
    assert bare(bench.diagnose()[0]) == [("direction-break", "Outer main")]


def test_a_short_that_waits_for_the_volts_is_one():
    bench = Bench(seconds=40)
    bench.fed[bench.rows(20, 20.6), 0] = 0
    bench.extra[bench.rows(20.6, 21.4), 0] = 25
    assert ("short", "Outer main") in bare(bench.diagnose()[0])


def test_a_wheel_that_bridges_a_turnout_on_a_stiff_supply_is_a_short():
    bench = Bench(seconds=30)
    bench.open_volts *= 3
    # 25 of 45 V are left and more: only the amps tell.
    bench.extra[bench.rows(20, 20.1), 0] = 40
    assert ("short", "Outer main") in bare(bench.diagnose()[0])


def test_a_throttle_slammed_shut_is_no_lost_feed():
    bench = Bench(seconds=40)
    bench.fed[:, 0] = 1 - np.clip((bench.at_s - 20) / 0.2, 0, 1)
    assert bare(bench.diagnose()[0]) == [("throttle", "Outer main")]


def test_a_weak_section_is_told_by_the_surge_at_its_end_when_it_comes_again():
    bench = Bench(seconds=120, grade=0.05)
    for lap in range(6):
        at_s, end_s = 10 + 17 * lap, 15 + 17 * lap
        section = bench.rows(at_s, end_s)
        bench.load[section, 0] = 0.65
        behind = bench.rows(end_s, end_s + 3)
        bench.load[behind, 0] = 1 + 0.5 * np.exp(-(bench.at_s[behind] - end_s) / 0.5)
    events, _ = bench.diagnose()
    assert bare(events) == [("weak-joint", "Outer main")] * 6
    assert events[0].end_s == pytest.approx(15, abs=0.3)


def test_a_train_blocked_within_a_moment_is_told_though_a_load_switched_on_is_not():
    bench = Bench(seconds=80, noise=0.06)
    stall = bench.rows(50, 57)
    turn = 2 * np.pi * bench.at_s[stall] / 17
    moving = 1 + 0.12 * np.sin(turn) + 0.048 * np.sin(2 * turn + 1)
    stopped = np.minimum(1, (bench.at_s[stall] - 50) / 0.12)
    bench.load[stall, 0] = 1 - stopped
    bench.extra[stall, 0] = 2.5 * (moving[0] + 1.0) * stopped
    event = only(bench, Cause.BINDING)
    assert event.start_s == pytest.approx(50, abs=0.3)
    assert event.end_s == pytest.approx(57, abs=0.3)


def test_two_losses_of_contact_soon_after_one_another_are_two():
    bench = Bench(seconds=40)
    for at_s in (20.0, 20.75):
        bench.load[bench.rows(at_s, at_s + 0.35), 0] = 0
    assert bare(bench.diagnose()[0]) == [("lost-contact", "Outer main")] * 2


@pytest.mark.parametrize(("on_s", "off_s"), [(0.3, 0.15), (0.5, 0.3)])
def test_the_pause_between_two_pulses_of_a_solenoid_is_no_lost_contact(on_s: float, off_s: float):
    bench = Bench(seconds=40)
    for k in range(2):
        at_s = 20 + k * (on_s + off_s)
        bench.extra[bench.rows(at_s, at_s + on_s), 0] = 3
    assert "lost-contact" not in {cause for cause, _ in bare(bench.diagnose()[0])}


def test_a_whistle_on_a_hill_is_no_binding():
    bench = Bench(seconds=90, grade=0.3)
    whistle = bench.rows(60, 66)
    bench.offset[whistle, 0] = 2
    bench.extra[whistle, 0] = 2 * np.clip((bench.at_s[whistle] - 60) / 0.4, 0, 1)
    assert {cause for cause, _ in bare(bench.diagnose()[0])} == {"dc-signal"}


def test_two_trains_on_a_hill_each_at_the_same_moment_are_no_binding():
    bench = Bench(seconds=110, grade=0.03)

    def hill(lap_s: float, begins_s: float) -> np.ndarray:
        on_it = (bench.at_s - begins_s) % lap_s
        return np.clip(np.minimum(on_it, 2.0 - on_it) / 0.35, 0, 1)

    bench.load[:, 0] = 1 + 0.45 * hill(17, 9)
    # Together for the first time a minute and a half in.
    bench.extra[:, 0] = 1.8 * (1 + 0.5 * hill(12.5, 94.3 - 7 * 12.5))
    assert "binding" not in {cause for cause, _ in bare(bench.diagnose()[0])}
