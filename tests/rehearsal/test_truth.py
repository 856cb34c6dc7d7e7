"""Labels against what the bytes themselves show: to the scan, also after a board restarted."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.rehearsal import capture, random_scene
from monitor.rehearsal.model_acts import DirectionBreak, Short
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench
from monitor.rehearsal.stream import BoardFaults, Restart
from monitor.values import Identity, SampleBlock
from monitor.wire import PackedDecoder, SampleRun
from monitor.wire.timeline import ScanTimeline


def heard(played):
    """Times of scans and, by district, volts and amps as a listener decodes them."""
    layout = parse_layout(played.layout)
    identity, line, times, rows = None, ScanTimeline("bench-1"), [], []
    for item in PackedDecoder().feed(played.wire):
        if isinstance(item, Identity):
            identity = item
        elif isinstance(item, SampleRun):
            for block in line.place(item, identity):
                if isinstance(block, SampleBlock):
                    times.append(block.start_s + np.arange(len(block.counts)) * block.interval_s)
                    rows.append(block.counts.astype(float))
    counts = np.concatenate(rows)
    units = [(counts[:, n] - c.zero_counts) * c.units_per_count for n, c in enumerate(identity.channels)]
    return np.concatenate(times), {d.name: (units[d.volts_channel], units[d.amps_channel]) for d in layout.district}


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def window(times, values, start_s, end_s):
    return values[(times >= start_s - 1e-7) & (times < end_s - 1e-7)]


def of_cause(played, cause):
    return [row for row in played.truth["events"] if row["cause"] == cause and not row.get("optional")]


@pytest.mark.parametrize("seed", [1, 2])
def test_lost_contact_takes_amps_and_leaves_volts(seed):
    played = capture(random_scene("scattered", seed))
    times, districts = heard(played)
    rows = [row for row in of_cause(played, "lost-contact") if row["end_s"] - row["start_s"] > 0.1]
    assert len(rows) > 8
    for row in rows:
        volts, amps = districts[row["district"]]
        before, within = (row["start_s"] - 0.2, row["start_s"]), (row["start_s"] + 0.02, row["end_s"] - 0.02)
        assert rms(window(times, amps, *within)) < 0.85 * rms(window(times, amps, *before))
        assert rms(window(times, volts, *within)) > 0.9 * rms(window(times, volts, *before))


def test_shorts_collapse_volts_and_an_open_protection_leaves_nothing():
    played = capture(random_scene("short", 4))
    times, districts = heard(played)
    shorts, opened = of_cause(played, "short"), of_cause(played, "protection-open")
    assert shorts
    assert opened
    for row in shorts:
        volts, amps = districts[row["district"]]
        if row["end_s"] - row["start_s"] > 0.1:
            late = (row["end_s"] - 0.05, row["end_s"])
            before = (row["start_s"] - 0.2, row["start_s"])
            assert rms(window(times, volts, *late)) < 0.6 * rms(window(times, volts, *before))
            assert rms(window(times, amps, *late)) > 2 * rms(window(times, amps, *before))
    for row in opened:
        volts, amps = districts[row["district"]]
        assert rms(window(times, volts, row["start_s"], row["end_s"])) < 0.3
        assert rms(window(times, amps, row["start_s"], row["end_s"])) < 0.3
    assert [trip["hard"] for trip in played.truth["trips"]] == [True] * len(played.truth["trips"])


def broken_off(seed, faults):
    bench = draw_bench(np.random.default_rng(seed), SceneRequest(wave="sine"))
    acts = [DirectionBreak(at_s=at, seconds=0.6, district=0) for at in (4.1, 11.37)]
    return replace(random_scene("clean", seed), bench=bench, acts=tuple(acts), seconds=15.0, faults=faults)


@pytest.mark.parametrize(
    "faults",
    [
        BoardFaults(),
        BoardFaults(first_scan=(1 << 32) - 5000, drops=((2.0, 37),)),
        BoardFaults(restarts=(Restart(at_s=7.003, away_s=1.234),)),
    ],
    ids=["sound", "index wraps and scans drop", "restart"],
)
def test_breaks_are_labelled_to_the_scan(faults):
    played = capture(broken_off(5, faults))
    times, districts = heard(played)
    rows = of_cause(played, "direction-break")
    assert len(rows) == 2
    volts, amps = districts["Outer main"]
    for row in rows:
        assert np.abs(window(times, volts, row["start_s"], row["end_s"])).max() < 0.5
        assert np.abs(window(times, amps, row["start_s"], row["end_s"])).max() < 0.5
        assert np.abs(window(times, volts, row["start_s"] - 0.004, row["start_s"])).max() > 3
        assert np.abs(window(times, volts, row["end_s"], row["end_s"] + 0.009)).max() > 3
        assert row["end_s"] - row["start_s"] == pytest.approx(0.6, abs=0.001)


def test_damaged_bytes_cost_packets_not_time():
    played = capture(replace(broken_off(6, BoardFaults(flips_per_byte=3e-5, torn=((3.0, 400),)))))
    times, _ = heard(played)
    assert times[-1] == pytest.approx(15.0, abs=0.05)
    assert np.diff(times).max() > 0.01


def test_a_slow_trip_has_its_onset_at_the_step_and_opens_later():
    for seed in range(4):
        scene = random_scene("overload", seed)
        step = next(act for act in scene.acts if act.overload)
        trip = capture(scene).truth["trips"][0]
        assert trip["onset_s"] == pytest.approx(step.at_s, abs=0.002)
        assert trip["trip_s"] > trip["onset_s"] + 1
        assert not trip["hard"]


def test_a_short_that_outlasts_the_protection_is_labelled_again_when_it_closes():
    scene = random_scene("clean", 11)
    breaker = replace(
        scene.bench.supplies[0].breaker, kind="electronic", instant_ratio=1.8, delay_s=0.05, reset_after_s=2.0, rated_amps=8.0
    )  # fmt: skip
    first = replace(scene.bench.supplies[0], breaker=breaker, source_ohms=0.2)
    bench = replace(scene.bench, supplies=(first, *scene.bench.supplies[1:]))
    acts = (Short(at_s=5.0, seconds=5.0, district=0, ohms=0.1),)
    played = capture(replace(scene, bench=bench, acts=acts, seconds=14.0))
    shorts, opened = of_cause(played, "short"), of_cause(played, "protection-open")
    assert len(shorts) == 3
    assert len(played.truth["trips"]) == 3
    assert all(any(row["start_s"] == short["end_s"] for row in opened) for short in shorts)
    assert opened[0]["end_s"] - opened[0]["start_s"] == pytest.approx(2.0, abs=0.02)
