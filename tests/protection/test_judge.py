"""The judge on readings with known draws."""

import dataclasses

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.protection import Judge
from monitor.values import Action, ReadingBlock
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text
from tests.protection.streams import DISTRICTS, HEAD, PLAIN, block, cut, judged, layout_with, readings


def step(t, at_s, before, after):
    return np.where(t < at_s, before, after)


def high(warnings):
    return [w for w in warnings if w.priority.word == "high"]


def test_a_slow_overload_is_warned_of_before_the_quick_end_of_the_tolerance():
    """18 A on a replica of 100 s and 10 A from heat (3/10)^2: opens after 27.5 s (IEC 60255-149 hot curve); 75 % of it is 20.6 s."""
    warnings, judge = judged(layout_with(), readings(60, lambda t: step(t, 30, 2.0, 17.0)))
    (told,) = [w for w in warnings if w.rule == "trip-forecast"]
    onset_s, opens_s = 30.0, 100 * np.log((3.24 - 0.09) / (3.24 - 1))
    assert onset_s < told.start_s < onset_s + 0.7 * 0.75 * opens_s
    assert told.start_s < onset_s + 0.75 * opens_s - 10
    assert told.start_s + told.trip_in_s == pytest.approx(onset_s + opens_s, abs=0.1 * opens_s)
    assert told.trip_earliest_s < told.trip_in_s < told.trip_latest_s
    assert "the draw of Outer main rose by 15.0 A" in told.message
    assert judge.loads()[0].heat > 0.9


def test_a_grade_on_each_lap_beyond_the_rating_raises_nothing_high():
    """12.5 A for 5 s of each 16 s, 6 A otherwise: mean square 73 of 100, never opens a 100 s replica that holds 10 A."""
    warnings, judge = judged(layout_with(), readings(300, lambda t: np.where(t % 16 < 5, 11.5, 5.0)))
    assert high(warnings) == []
    assert judge.loads()[0].heat < 0.9


def test_over_the_winding_without_protection_is_medium_within_15_s():
    layout = layout_with("[supply.protection]\nkind = 'none'\n")
    warnings, _ = judged(layout, readings(60, lambda t: step(t, 30, 2.0, 9.3)))
    (told,) = [w for w in warnings if w.priority.word == "medium"]
    assert 30 < told.start_s < 45
    assert (told.rule, told.trip_in_s) == ("over-winding", None)
    assert "nothing will switch it off" in told.message


def test_starting_engines_cold_lamps_whistles_and_breaks_raise_nothing():
    def outer(t):
        starts = 6.0 + 8.0 * np.exp(-np.maximum(0, t - 20) / 0.9) * (t > 20)
        lamps = 9.0 * np.exp(-np.maximum(0, t % 30 - 5) / 0.04) * ((t % 30 > 5) & (t % 30 < 6))
        return np.where((t > 40) & (t < 41.5), 0.0, starts + lamps)

    warnings, _ = judged(layout_with(), readings(90, outer))
    assert warnings == []


def short_draw(t):
    return np.where((t > 20) & (t < 20.06), 35.0, np.where(t >= 20.06, 0.0, 3.0))


def short_volts(t):
    return np.where((t > 20) & (t < 20.06), 3.0, np.where(t >= 20.06, 0.0, 14.0))


def test_a_hard_short_is_told_with_its_first_readings_and_the_opening_after_it():
    whole = readings(25, short_draw, lambda t: np.where(t >= 20.06, 0.0, 1.0), short_volts)
    judge, told_s = Judge(layout_with()), None
    for part in cut(whole, range(len(whole))):
        if any(w.rule == "short" for w in judge.feed(part)):
            told_s = float(part.end_s[-1])
            break
    assert told_s is not None
    assert told_s - 20.0 < 0.05
    rules = [w.rule for w in judged(layout_with(), whole)[0]]
    assert rules == ["short", "protection-open"]


@pytest.mark.parametrize(("amps", "volts_left", "told"), [(27.0, 11.2, True), (27.0, 12.6, False), (23.0, 11.2, False)])
def test_a_wheel_that_bridges_a_turnout_on_a_stiff_supply_is_a_short(amps, volts_left, told):
    """More than 2.5 times the rating with volts below 85 % of 14: by the layout of causes of the sift output."""
    whole = readings(
        30,
        lambda t: np.where((t > 20) & (t < 20.08), amps, 2.0),
        volts=lambda t: np.where((t > 20) & (t < 20.08), volts_left, 14.0),
    )
    assert [w.rule for w in judged(layout_with(), whole)[0]] == ["short"] * told


def test_heat_is_calibrated_by_an_opening_and_cools_until_the_reset():
    def outer(t):
        return np.where((t > 30) & (t < 52), 17.0, np.where(t >= 52, 0.0, 2.0))

    def volts(t):
        return np.where(t >= 52, 0.0, 14.0)

    warnings, judge = judged(layout_with(), readings(60, outer, lambda t: np.where(t >= 52, 0.0, 1.0), volts))
    load = judge.loads()[0]
    assert load.is_open
    assert load.open_since_s == pytest.approx(52.2, abs=0.3)
    # From 1 down with exp(-t / 100 s).
    assert load.heat == pytest.approx(np.exp(-(60 - load.open_since_s) / 100), abs=0.02)
    assert load.reset_in_s == pytest.approx(100 * np.log(load.heat / 0.7), abs=1.0)
    told = next(w for w in warnings if w.rule == "trip-forecast")
    assert told.end_s == pytest.approx(load.open_since_s, abs=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_results_do_not_depend_on_cuts(seed):
    rng = np.random.default_rng(seed)
    whole = readings(
        70,
        lambda t: step(t, 30, 6.0, 12.5) + short_draw(t) * (t < 20.06),
        volts=lambda t: np.where((t > 20) & (t < 20.06), 3.0, 14.0),
    )
    amps = whole.amps_rms.copy()
    amps[rng.random(amps.shape) < 0.02] = np.nan
    whole = block(whole.end_s, whole.volts_rms, amps)
    at_once = judged(layout_with(), whole)[0]
    assert at_once
    assert judged(layout_with(), whole, rng.choice(len(whole), 300, replace=False))[0] == at_once


def test_start_in_the_middle_says_what_it_does_not_know():
    _, judge = judged(layout_with(), readings(5, lambda t: 8.0 + 0 * t))
    load = judge.loads()[0]
    assert load.heat_lowest < 0.1 < load.heat < 0.9 < load.heat_highest
    _, later = judged(layout_with(), readings(500, lambda t: 8.0 + 0 * t))
    known = later.loads()[0]
    assert known.heat_highest - known.heat_lowest < 0.02
    assert known.heat == pytest.approx(0.81, abs=0.01)


def test_a_gap_widens_the_bounds_of_heat():
    first = readings(300, lambda t: 8.0 + 0 * t)
    judge = Judge(layout_with())
    judge.feed(first)
    before = judge.loads()[0]
    later = block(first.end_s[:2400] + 360.0, first.volts_rms[:2400], first.amps_rms[:2400])
    judge.feed(later)
    after = judge.loads()[0]
    assert after.heat_highest - after.heat_lowest > before.heat_highest - before.heat_lowest


def test_headroom_names_the_limit_that_binds():
    _, judge = judged(layout_with(), readings(20, lambda t: 6.0 + 0 * t))
    load = judge.loads()[0]
    outer = load.districts[0]
    # 180 VA / 18 V = 10 A at any throttle; 7 A flow; at 14 V the plate would allow 12.9 A.
    assert outer.headroom.amps_left == pytest.approx(3.0, abs=0.01)
    assert outer.headroom.va_left == pytest.approx(42.0, abs=0.2)
    assert outer.headroom.binding.kind == "winding"
    assert outer.headroom.sentence.startswith("one more 2 A engine fits on Outer main")


def test_explains_a_step_by_the_loads_of_the_layout():
    loads = "[[load]]\nname = 'Heavy freight engine'\ndistrict = 'Outer main'\nkind = 'locomotive'\nrunning_amps = 9.6\n"
    warnings, _ = judged(layout_with(more=loads), readings(60, lambda t: step(t, 30, 5.0, 15.0)))
    assert "about what Heavy freight engine would draw" in high(warnings)[0].message


def test_lines_with_jitter_are_judged_too():
    rng = np.random.default_rng(3)
    whole = readings(60, lambda t: step(t, 30, 2.0, 17.0), interval_s=0.1)
    whole = block(whole.end_s + rng.uniform(0, 0.03, len(whole)), whole.volts_rms, whole.amps_rms)
    (told,) = high(judged(layout_with(), whole)[0])
    # Opens after 27.5 s, a quarter sooner at worst: told before seven tenths of that.
    assert 30 < told.start_s < 30 + 0.7 * 0.75 * 27.5


def test_acknowledge_shelve_and_return():
    layout = layout_with()
    whole = readings(60, lambda t: np.where((t > 20) & (t < 45), 15.0, 2.0))
    judge, seen = Judge(layout), {}
    for part in cut(whole, range(0, len(whole), 60)):
        now_s = float(part.end_s[-1])
        for warning in [*judge.feed(part), *judge.tick(now_s)]:
            if warning.rule == "over-winding" and warning.id not in seen:
                (acknowledged,) = judge.operate(Action(kind="acknowledge", at_s=now_s, warning_id=warning.id))
                assert acknowledged.state == "acknowledged"
                (shelved,) = judge.operate(Action(kind="shelve", at_s=now_s, warning_id=warning.id, until_s=now_s + 3))
                assert shelved.shelved_until_s == now_s + 3
            seen.setdefault(warning.id, []).append(warning)
    winding = next(words for words in seen.values() if words[0].rule == "over-winding")
    assert [(w.state, w.shelved_until_s, w.end_s is None) for w in winding[1:]] == [
        ("acknowledged", None, True),
        ("normal", None, False),
    ]
    trip = next(words for words in seen.values() if words[0].rule == "trip-forecast")
    assert trip[-1].state == "returned"


def test_readings_of_nothing_are_no_reason_to_warn():
    whole = readings(30, lambda t: np.nan * t, lambda t: np.nan * t)
    warnings, judge = judged(layout_with(PLAIN), whole)
    assert warnings == []
    assert judge.loads()[0].amps is None


def test_a_breaker_of_which_only_the_rating_is_known_is_taken_for_a_quick_one():
    """16 A on a 10 A breaker: the quickest that passes IEC 60898-1 opens within some 10 s, UL 489 allows minutes."""
    layout = layout_with("[supply.protection]\nkind = 'thermal'\nrated_amps = 10\n")
    warnings, _ = judged(layout, readings(60, lambda t: step(t, 30, 3.0, 15.0)))
    (told,) = high(warnings)
    assert 30 < told.start_s < 34
    assert told.trip_earliest_s < 10 < told.trip_in_s
    assert told.trip_latest_s is None or told.trip_latest_s > 60


def test_nothing_is_said_of_ratings_once_the_protection_is_open():
    def outer(t):
        return np.where((t > 30) & (t < 34), 17.0, np.where(t >= 34, 0.0, 2.0))

    def volts(t):
        return np.where(t >= 34, 0.0, 14.0)

    points = "[supply.protection]\nkind = 'thermal'\nrated_amps = 10\npoints = [[2.0, 6.0]]\n"
    warnings, _ = judged(layout_with(points), readings(50, outer, lambda t: np.where(t >= 34, 0.0, 1.0), volts))
    after = [w.rule for w in warnings if w.start_s > 34]
    assert after == ["protection-open"]
    assert [w.rule for w in warnings if w.end_s is None] == ["protection-open"]


def test_a_message_says_what_is_too_much_what_began_it_and_how_long_is_left():
    warnings, _ = judged(layout_with(), readings(60, lambda t: step(t, 30, 2.0, 17.0)))
    (told,) = high(warnings)
    assert told.time_words in told.message
    assert told.time_words.startswith("in about")
    over = next(w for w in warnings if w.priority.word == "medium")
    assert "A (" in over.message
    assert "too much" in over.message
    assert "the draw of Outer main rose by 15" in over.message


def test_a_short_that_the_sensor_clips_is_still_a_short():
    """A supply of 10 A and 14 V into a tenth of an ohm, seen by a sensor that ends at 20 A: 40 A flow, 18.5 A are read."""
    whole = readings(21, lambda t: np.where(t > 20, 18.5, 3.0), volts=lambda t: np.where(t > 20, 5.0, 14.0))
    rows = whole.end_s > 20
    peak = np.where(rows[:, None], [20.0, 1.5], [4.3, 1.5])
    clipped = np.stack([rows, rows & False], axis=1)
    whole = dataclasses.replace(whole, volts_peak=whole.volts_rms * np.sqrt(2), amps_peak=peak, amps_clipped=clipped)
    judge = Judge(layout_with())
    (told,) = [w for w in judge.feed(whole) if w.rule == "short"]
    assert told.start_s - 20.0 < 0.03


def test_power_that_comes_back_to_cold_lamps_is_no_short_and_to_a_short_is_one():
    """Filaments are ten times their hot draw at first (a tenth of the ohms) and warm within a tenth of a second."""

    def volts(t):
        return np.where((t > 10) & (t < 12), 0.0, 12.0)

    def lamps(t):
        return np.where((t > 10) & (t < 12), 0.0, 6.0 + 30.0 * np.exp(-np.maximum(0, t - 12) / 0.04) * (t >= 12))

    assert [w.rule for w in judged(layout_with(), readings(16, lamps, volts=volts))[0]] == []

    def dead_short(t):
        return np.where((t > 10) & (t < 12), 0.0, np.where(t >= 12, 35.0, 3.0))

    low = readings(
        12.2, dead_short, lambda t: np.where((t > 10) & (t < 12), 0.0, 1.0), lambda t: np.where(t >= 12, 1.5, volts(t))
    )
    (told,) = [w for w in judged(layout_with(), low)[0] if w.rule == "short"]
    assert told.start_s - 12.0 < 0.05


def test_boards_that_are_fed_together_are_judged_in_the_order_of_time():
    """A short on one board, known from its readings alone, is no older than what other boards brought before it."""
    second = DISTRICTS.replace("Outer", "Upper").replace("Inner", "Lower").replace("bench-1", "bench-2")
    second = second.replace("North bench", "South bench")
    supply = HEAD[HEAD.index("[[supply]]") :].replace("North bench", "South bench")
    layout = parse_layout(
        HEAD.replace("[[supply]]", "[[board]]\nname = 'bench-2'\n[[supply]]") + PLAIN + DISTRICTS + supply + PLAIN + second
    )
    shorted = readings(25, short_draw, lambda t: np.where(t >= 20.06, 0.0, 1.0), short_volts)
    other = readings(25, lambda t: np.where(t < 12, 4.0, 14.0))
    other = dataclasses.replace(other, board="bench-2", districts=("Upper main", "Lower main"))
    told = [(w.rule, w.scope.name, w.start_s) for w in Judge(layout).feed(shorted, other) if w.end_s is None]
    assert told == sorted(told, key=lambda each: each[2])
    assert [rule for rule, _, _ in told] == ["over-winding", "short", "protection-open"]


def test_a_board_that_falls_silent_holds_up_no_warning_of_another():
    """Two boards measure one supply, one district each; the second ends at 20 s, on the first 16 A are drawn from 30 s on."""
    places = [
        output_text("AB"[at], "North bench") + district_text(0, name, "North bench", "AB"[at], board=f"bench-{at + 1}")
        for at, name in enumerate(("Outer main", "Inner main"))
    ]
    guard = "[supply.protection]\nkind = 'none'\n"
    layout = parse_layout(head_text(boards=("bench-1", "bench-2")) + supply_text("North bench", more=guard) + "".join(places))
    whole = readings(60, lambda t: step(t, 30, 3.0, 16.0), interval_s=0.1)
    wide = [name for name in ReadingBlock.__dataclass_fields__ if getattr(getattr(whole, name), "ndim", 0) == 2]
    judge, told, now_s = Judge(layout), [], 0.0
    for part in cut(whole, range(0, len(whole), 10)):
        first, second = (
            dataclasses.replace(
                part,
                board=f"bench-{at + 1}",
                districts=part.districts[at : at + 1],
                **{name: getattr(part, name)[:, at : at + 1] for name in wide},
            )
            for at in (0, 1)
        )
        now_s = float(part.end_s[-1])
        told += judge.feed(first, second) if now_s < 20 else judge.feed(first)
        told += judge.tick(now_s)
    # Five seconds after it began, and two that the other board is waited for.
    assert 35.0 < next(w for w in told if w.rule == "over-winding").start_s < 38.0
    assert now_s - judge.loads()[0].at_s < 2.5


@pytest.mark.parametrize("seconds", [599.0, 605.0, 1100.0])
def test_the_last_two_and_a_half_minutes_are_remembered_however_long_it_runs(seconds):
    """Amps that rise by 1 mA a second, so that each tells its time; one reading ends each tick."""
    _, judge = judged(
        layout_with(), readings(seconds, lambda t: 1.0 + t / 1000, interval_s=0.2), range(0, round(seconds * 5), 50)
    )
    known = judge._supplies["North bench"].history[-750:, 0]
    last_s = round((known[-1] - 1.0) * 1000, 1)
    assert last_s == pytest.approx(seconds, abs=0.5)
    assert known == pytest.approx(1.0 + (last_s - 0.2 * np.arange(749, -1, -1)) / 1000, abs=1e-6)
