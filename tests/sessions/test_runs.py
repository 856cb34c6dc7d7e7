"""Now against earlier sessions: told apart only where statistics allow it."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from monitor.sessions import find_sessions
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import SessionOptions
from monitor.sessions.runs import (
    T_95,
    Run,
    SessionFault,
    earlier_runs,
    figure_changes,
    rate_against,
    rate_since,
    run_of_session,
    standard_error,
)
from monitor.values import Action, Cause, Chunk, Event, SlowFigure, Step
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT


def loop(value, spread=0.01, count=10):
    return SlowFigure(kind="loop-ohms", name="Outer main", value=value, reference=None, spread=spread, count=count, at_s=60.0)


def opening(value):
    return SlowFigure(kind="opening-share", name="North bench", value=value, reference=value, spread=0.0, count=1, at_s=60.0)


def run(*figures, day=0, faults=(), seconds=3600.0, marks=(), openings=()):
    return Run(
        began_at=BEGAN_AT + timedelta(days=day),
        first_s=0.0,
        ended_s=seconds,
        faults=tuple(SessionFault(district="Outer main", start_s=at_s) for at_s in faults),
        marks=marks,
        figures=figures,
        openings=openings,
    )


def verdict(now, *earlier):
    (change,) = figure_changes([now], earlier)
    return change.verdict


def test_a_loop_that_grew_is_told_with_both_figures():
    (change,) = figure_changes([loop(0.71)], [run(loop(0.42))])
    assert (change.verdict, change.last.value, change.now.value) == ("changed", 0.42, 0.71)
    assert change.share == pytest.approx(0.69, abs=0.005)


def test_less_than_a_tenth_is_no_change_however_sure():
    assert verdict(loop(0.45, spread=0.0001), run(loop(0.42, spread=0.0001))) == "alike"


def test_what_scatters_widely_or_rests_on_little_is_left_open():
    assert verdict(loop(0.71, spread=0.3), run(loop(0.42, spread=0.3))) == "unclear"
    assert verdict(loop(0.71, count=1, spread=0.0), run(loop(0.42))) == "unclear"


def test_three_earlier_sessions_say_what_is_usual():
    usual = [run(loop(value)) for value in (0.42, 0.60, 0.80, 0.55)]
    assert verdict(loop(0.71), *usual) == "unclear"
    steady = [run(loop(value)) for value in (0.42, 0.43, 0.41, 0.42)]
    assert verdict(loop(0.71), *steady) == "changed"


def test_one_opening_tells_little_several_do():
    few = [run(opening(0.9), openings=(("North bench", 0.9),))]
    assert verdict(opening(0.4), *few) == "unclear"
    many = [
        run(opening(0.9), openings=(("North bench", 0.9), ("North bench", 0.95), ("North bench", 0.85), ("South bench", 0.1)))
    ]
    assert verdict(opening(0.4), *many) == "changed"
    assert verdict(opening(0.92), *many) == "alike"


def test_what_no_earlier_session_had_is_not_compared():
    assert figure_changes([loop(0.4)], [run(opening(0.9))]) == ()


def test_chance_alone_is_called_a_change_no_more_than_once_in_a_hundred_times():
    rng = np.random.default_rng(5)

    def measured():
        values = rng.normal(0.5, 0.2, 40)
        low, middle, high = np.quantile(values, [0.25, 0.5, 0.75])
        return loop(float(middle), spread=float(high - low) / 2, count=40)

    wrong = sum(verdict(measured(), run(measured())) == "changed" for _ in range(2000))
    # Binomial with p = 0.01: more than 40 of 2000 has a chance below 0.0001; quartiles of 40 values are themselves rough.
    assert wrong <= 40


def test_the_table_of_t_is_the_published_one():
    # Student's t, two-sided 95 %: scipy.stats as the reference.
    assert {k: round(float(stats.t.ppf(0.975, k)), 3) for k in T_95} == T_95


def test_the_error_of_a_median():
    # Normal distribution: quartiles at 0.6745 sigma, standard error of the median 1.2533 sigma / sqrt(n).
    rng = np.random.default_rng(6)
    medians = np.median(rng.normal(0, 1, (4000, 101)), axis=1)
    assert standard_error(loop(0.0, spread=0.6745, count=101)) == pytest.approx(float(medians.std()), rel=0.05)


def test_rates_before_and_since_a_remark():
    mark = Action(kind="mark", at_s=300.0, district="Outer main", text="cleaned rails")
    own = run(faults=[10.0 * k for k in range(30)], seconds=600.0)
    change = rate_since(mark, own, None, [])
    assert (change.before, change.after, change.before_s, change.after_s) == (30, 0, 300.0, 300.0)
    # Given their sum, counts of equal rates are binomial: scipy.stats.binomtest is the reference.
    assert change.p_value == pytest.approx(stats.binomtest(0, 30, 0.5).pvalue, rel=1e-6)
    assert rate_since(replace(mark, district="Inner main"), own, None, []).before == 0
    assert rate_since(mark, replace(own, ended_s=310.0), None, []) is None


def test_a_remark_made_at_the_end_of_the_evening_is_judged_by_the_next_one():
    mark = Action(kind="mark", at_s=3599.0, text="swapped engine")
    last, now = run(faults=range(100, 3500, 100), marks=(mark,)), run(faults=[50.0], day=1)
    change = rate_since(mark, last, None, [now])
    assert (change.before, change.after) == (34, 1)
    assert change.after_s == pytest.approx(3601.0)


def test_one_made_before_the_first_lap_is_judged_by_the_session_before():
    mark = Action(kind="mark", at_s=1.0, text="cleaned rails")
    change = rate_since(mark, run(seconds=1800.0, day=1), run(faults=range(0, 3600, 100)), [])
    assert (change.before, change.after) == (36, 0)
    assert rate_against(run(seconds=1800.0, day=1), run(faults=range(0, 3600, 100))).before == 36


def record(recordings, day, *, invented=False, figures=()):
    began_at = BEGAN_AT + timedelta(days=day)
    recorder = Recorder(recordings, LAYOUT_TEXT, began_at=began_at, reserve_bytes=0, options=SessionOptions(invented=invented))
    lost = Event(id=1, district="Outer main", cause=Cause.LOST_CONTACT, start_s=5.0, end_s=5.2, confidence=0.9)
    mark = Action(kind="mark", at_s=6.0, text="cleaned rails")
    recorder.put(
        Step(port="p", chunk=Chunk(data=b"\0", received_s=9.0), now_s=9.0, events=(lost,), actions=(mark,), slow_figures=figures)
    )
    recorder.close()
    return began_at


def test_the_last_sessions_of_a_layout_are_found_newest_first(tmp_path):
    for day in range(10):
        record(tmp_path, day, figures=(opening(0.9), replace(loop(0.1 * day), at_s=1.0), loop(0.2 * day)))
    record(tmp_path, 20, invented=True)
    title = next(find_sessions(tmp_path)).manifest().title
    runs = earlier_runs(tmp_path, title, BEGAN_AT + timedelta(days=30))
    assert [each.began_at for each in runs] == [BEGAN_AT + timedelta(days=day) for day in range(9, 1, -1)]
    assert runs[0].figures == (opening(0.9), loop(0.2 * 9))
    assert (runs[0].faults, runs[0].marks[0].text, runs[0].openings) == (
        (SessionFault(district="Outer main", start_s=5.0),),
        "cleaned rails",
        (("North bench", 0.9),),
    )
    assert [each.began_at for each in earlier_runs(tmp_path, title, BEGAN_AT + timedelta(days=1))] == [BEGAN_AT]
    assert earlier_runs(tmp_path, "Another layout", BEGAN_AT + timedelta(days=30)) == ()
    assert earlier_runs(None, title, BEGAN_AT) == earlier_runs(tmp_path, title, None) == ()


def test_what_was_invented_compares_with_what_was_invented(tmp_path):
    record(tmp_path, 0)
    record(tmp_path, 1, invented=True)
    now = record(tmp_path, 2, invented=True)
    title = next(find_sessions(tmp_path)).manifest().title
    assert [each.began_at for each in earlier_runs(tmp_path, title, now)] == [BEGAN_AT + timedelta(days=1)]
    assert run_of_session(next(find_sessions(tmp_path))).seconds == pytest.approx(9.0)
