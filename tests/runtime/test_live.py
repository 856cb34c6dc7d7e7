import threading
import time
from dataclasses import replace

import numpy as np
import pytest

from monitor.runtime import Pipeline
from monitor.runtime.live import Live
from monitor.runtime.trend import BUCKET_S, BUCKETS, Trend
from monitor.values import Action, Chunk, Finding, FindingKind, Priority, ReadingBlock, Scope, Step
from monitor.values import Warning as RaisedWarning
from tests.runtime.streams import INTERVAL_S, packed_stream, plain_layout, sine_counts


class Clock:
    def __init__(self):
        self.s = 0.0

    def __call__(self):
        return self.s


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def live(clock):
    return Live(plain_layout(), clock)


def publish_stream(live, clock, data, chunk_bytes=1000):
    pipeline = Pipeline(live.layout)
    for start in range(0, len(data), chunk_bytes):
        step = pipeline.feed("capture", Chunk(data=data[start : start + chunk_bytes]))
        clock.s = step.now_s
        live.publish(step)


def warning(number, priority=Priority.MEDIUM, end_s=None, rule="supply-total"):
    return RaisedWarning(
        id=number,
        rule=rule,
        priority=priority,
        scope=Scope(kind="supply", name="North bench"),
        start_s=float(number),
        end_s=end_s,
        trip_in_s=None,
        message="North bench carries more than its plate allows.",
        advice="Take a train off Outer main.",
    )


def step(now_s=1.0, **things):
    return Step(port="capture", chunk=Chunk(data=b""), now_s=now_s, **things)


def test_figures_are_the_sines_that_went_in(live, clock):
    publish_stream(live, clock, packed_stream(sine_counts(3.0)))
    outer, lights = live.picture().districts
    # Closed form: RMS of a sine is its peak over sqrt 2; P = U I where both are in phase (IEEE 1459).
    assert (outer.volts_rms, outer.amps_rms, outer.watts) == pytest.approx((15.0, 3.0, 45.0), rel=0.02)
    assert (lights.volts_rms, lights.amps_rms) == pytest.approx((12.0, 1.0), rel=0.03)
    assert outer.volts_peak == pytest.approx(15.0 * np.sqrt(2), rel=0.03)
    assert outer.volt_amperes == pytest.approx(45.0, rel=0.02)
    assert outer.frequency_hz == pytest.approx(60.0)
    assert outer.volts_mean == pytest.approx(0.0, abs=0.1)


def test_age_goes_on_when_nothing_comes(live, clock):
    assert all(district.is_stale and district.age_s is None for district in live.picture().districts)
    publish_stream(live, clock, packed_stream(sine_counts(2.0)))
    outer = live.picture().districts[0]
    assert outer.age_s < 0.05
    assert not outer.is_stale
    clock.s += 1.2
    for _ in range(5):
        live.publish(step(now_s=clock.s))  # ticks without bytes keep nothing fresh
    outer = live.picture().districts[0]
    assert outer.age_s == pytest.approx(1.2, abs=0.05)
    assert outer.is_stale
    assert outer.volts_rms == pytest.approx(15.0, rel=0.02)


def test_board_time_ahead_of_the_stream_does_not_look_fresh_for_longer(live, clock):
    block = one_reading(end_s=100.0)
    clock.s = 10.0
    live.publish(step(now_s=100.0, readings=(block,)))
    clock.s = 11.5
    assert live.picture().districts[0].age_s == pytest.approx(1.5)


def one_reading(end_s, volts=10.0, amps=2.0):
    one = np.array([[volts, np.nan]])
    return ReadingBlock(
        board="bench-1",
        districts=("Outer main", "Town lights"),
        start_s=np.array([end_s - 1 / 60]),
        end_s=np.array([end_s]),
        volts_rms=one,
        amps_rms=np.array([[amps, np.nan]]),
        volts_mean=one,
        amps_mean=one,
        watts=one,
        volts_peak=one,
        amps_peak=one,
        far_volts_rms=one * np.nan,
        frequency_hz=np.array([np.nan]),
    )


def test_one_silent_output_ages_while_its_neighbour_stays_fresh(live, clock):
    both = one_reading(end_s=1.0)
    both.volts_rms[:] = both.amps_rms[:] = 5.0
    clock.s = 1.0
    live.publish(step(readings=(both,)))
    for tick in range(1, 100):
        clock.s = 1.0 + tick * 0.1
        live.publish(step(now_s=clock.s, readings=(one_reading(clock.s),)))
    outer, lights = live.picture().districts
    assert not outer.is_stale
    assert lights.age_s == pytest.approx(9.9)
    assert lights.volts_rms is None  # given up: nothing of it is held any more


def test_wave_is_the_last_samples_in_volts(live, clock):
    publish_stream(live, clock, packed_stream(sine_counts(2.0)))
    wave = live.wave("Outer main")
    times = wave.start_s + np.arange(len(wave.volts)) * wave.interval_s + wave.volts_skew_s
    expected = 15.0 * np.sqrt(2) * np.sin(2 * np.pi * 60 * times)
    assert len(wave.volts) == round(0.1 / INTERVAL_S)
    np.testing.assert_allclose(wave.volts, expected, atol=0.1)
    assert live.wave("Town lights").amps.max() == pytest.approx(np.sqrt(2), abs=0.1)


def test_warnings_come_highest_first_and_leave_when_they_clear(live):
    live.publish(step(warnings=(warning(1), warning(2, Priority.HIGH), warning(3, Priority.LOW))))
    assert [s.warning.id for s in live.picture().warnings] == [2, 1, 3]
    live.publish(step(warnings=(warning(2, Priority.HIGH, end_s=4.0),)))
    assert [s.warning.id for s in live.picture().warnings] == [1, 3]
    assert [w.id for w in live.picture().past_warnings] == [2]


def test_what_was_done_about_a_warning_is_what_it_says_itself_and_shelving_ends_in_time(live, clock):
    live.publish(
        step(warnings=(replace(warning(1), shelved_until_s=60.0), replace(warning(2), state="acknowledged"), warning(3)))
    )
    seen = {standing.warning.id: standing for standing in live.picture().warnings}
    assert {number: standing.shelved_until_s for number, standing in seen.items()} == {1: 60.0, 2: None, 3: None}
    assert {number for number, standing in seen.items() if standing.acknowledged} == {2}
    clock.s = 61.0
    assert all(standing.shelved_until_s is None for standing in live.picture().warnings)


def test_mute_ends_by_itself(live, clock):
    live.publish(step(actions=(Action(kind="mute", at_s=0.0, until_s=30.0),)))
    assert live.picture().muted_until_s == 30.0
    clock.s = 30.5
    assert live.picture().muted_until_s is None


def test_a_bad_sensor_stands_against_its_district_only(live):
    stuck = Finding(
        id=1, board="bench-1", channel=3, kind=FindingKind.STUCK, start_s=0.0, end_s=None, count=9, check="Look at its plug."
    )
    live.publish(step(findings=(stuck,)))
    outer, lights = live.picture().districts
    assert (outer.findings, lights.findings) == ((), (stuck,))


def test_trend_does_not_depend_on_cuts():
    rng = np.random.default_rng(4)
    ends = np.sort(rng.uniform(0, 30, 900))
    volts, amps = rng.uniform(0, 20, (900, 2)), rng.uniform(0, 5, (900, 2))
    amps[100:300, 1] = np.nan
    whole, cut = Trend(2), Trend(2)
    whole.add([0, 1], ends, volts, amps, volts * amps)
    for start in range(0, 900, 7):
        rows = slice(start, start + 7)
        cut.add([0, 1], ends[rows], volts[rows], amps[rows], (volts * amps)[rows])
    a, b = whole.window(29.9, 150), cut.window(29.9, 150)
    for name in ("volts_rms", "volts_lowest", "amps_rms", "amps_highest", "watts"):
        np.testing.assert_allclose(getattr(a, name), getattr(b, name))
    in_bucket = (ends >= 10.0) & (ends < 10.0 + BUCKET_S)
    row = round((10.0 - a.start_s[0]) / BUCKET_S)
    assert a.volts_rms[row, 0] == pytest.approx(np.sqrt(np.mean(volts[in_bucket, 0] ** 2)))
    assert a.amps_highest[row, 0] == pytest.approx(amps[in_bucket, 0].max())


def test_trend_forgets_what_is_older_than_its_ring_and_shows_holes():
    trend = Trend(1)
    one = np.array([[1.0]])
    trend.add([0], np.array([0.1]), one, one, one)
    later_s = BUCKETS * BUCKET_S + 0.1
    trend.add([0], np.array([later_s]), 2 * one, one, one)
    window = trend.window(later_s, BUCKETS)
    assert np.isfinite(window.volts_rms).sum() == 1
    assert window.volts_rms[-1, 0] == 2.0


def test_readers_and_publisher_do_not_hold_each_other_up(live, clock):
    stop, looks = threading.Event(), [0] * 4

    def look(number):
        while not stop.is_set():
            live.picture()
            live.trend(300)
            looks[number] += 1
            time.sleep(0.005)

    lookers = [threading.Thread(target=look, args=(number,)) for number in range(4)]
    for looker in lookers:
        looker.start()
    publish_stream(live, clock, packed_stream(sine_counts(5.0)))
    stop.set()
    for looker in lookers:
        looker.join()
    assert min(looks) > 0  # how fast both are is measured by tests.bench.bench_page
    assert live.picture().districts[0].volts_rms == pytest.approx(15.0, rel=0.02)
