"""Zero and gain as the set-up asks for them.

Oracle: sines of known RMS worked out here with numpy, put through a channel of known zero and gain; nothing of the metering is used.
"""

import re

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.metering.calibration import Observed
from monitor.setup.calibration_flow import CalibrationFlow
from monitor.setup.draft import FoundBoard, SeenBoard, SetupDraft
from monitor.setup.interview import walk
from tests.layout.fernhollow import FERNHOLLOW
from tests.wire.bytestreams import identity

IDENTITY = identity(channels=8)
BOARD = FoundBoard(name="bench-1", port="x", baud=500_000, identity=IDENTITY)
LAYOUT = parse_layout(FERNHOLLOW.replace("far_volts_channel = 4\n", "").split("[calibration")[0])
GAIN, ZERO = 1.03, 2.5
CHANNELS = [channel for d in LAYOUT.districts_of_board("bench-1") for channel in (d.volts_channel, d.amps_channel)]


def seen(rms_by_channel=None, noise=0.4):
    """What the converter shows while each channel carries so much, each of a gain and zero that its board does not know of."""
    rng, t = np.random.default_rng(3), np.arange(2400) / 1200
    found = []
    for k, channel in enumerate(IDENTITY.channels):
        wave = np.sqrt(2) * (rms_by_channel or {}).get(k, 0.0) * np.sin(2 * np.pi * 60 * t)
        counts = channel.zero_counts + ZERO + wave / (GAIN * channel.units_per_count) + rng.normal(0, noise, len(t))
        found.append(Observed.of(np.round(counts)))
    return SeenBoard(channels=tuple(found), supply_volts=5.01)


def asked(typed, sightings):
    draft = SetupDraft(answers={"calibrate": "yes", **typed}, boards=(BOARD,), seen=sightings)
    flow = CalibrationFlow(draft, LAYOUT)
    return flow, walk(flow.flow(), draft.answers)


def test_zero_of_the_whole_board_then_the_gain_of_each_channel():
    truth = {channel: 14.2 if channel % 2 == 0 else 3.1 for channel in CHANNELS}
    typed = {"zero.bench-1": "yes"} | {f"gain.bench-1.{channel}": f"{value}" for channel, value in truth.items()}
    flow, found = asked(typed, {"zero.bench-1": seen()} | {f"gain.bench-1.{channel}": seen(truth) for channel in CHANNELS})
    assert [each.complaint for each in found.asked if each.complaint] == []
    assert found.finished
    written = parse_layout(flow.text(FERNHOLLOW))
    for channel in CHANNELS:
        kept = written.channel_calibration("bench-1", channel)
        assert (kept.gain, kept.zero) == (pytest.approx(GAIN, rel=0.003), pytest.approx(ZERO, abs=0.1))
        assert kept.supply_volts == 5.01


@pytest.mark.parametrize(
    ("reading", "shown", "words"),
    [
        (f"{14.2 * 2**0.5:.2f}", 14.2, "peak for the RMS"),
        ("18", 8.0, "slip such as 18 for 8"),
        ("142", 14.2, "a digit too many"),
        ("14.2 A", 14.2, "another unit"),
        ("9.1", 14.2, r"Pair 2 shows 8.*wrong channel"),
        ("14.2", 0.0, "counts only"),
        ("", 14.2, None),
    ],
)
def test_slips_with_the_meter_are_refused_with_the_likely_one(reading, shown, words):
    sightings = {"zero.bench-1": seen(), "gain.bench-1.0": seen({0: shown, 2: 9.1})}
    _, found = asked({"zero.bench-1": "yes", "gain.bench-1.0": reading}, sightings)
    (gain,) = (each for each in found.asked if each.question.key == "gain.bench-1.0")
    if words is None:
        assert gain.complaint == ""
    else:
        assert re.search(words, gain.complaint)


def test_amps_at_zero_that_move_and_a_board_that_fell_silent_are_refused_before_any_meter_is_read():
    _, found = asked({"zero.bench-1": "yes"}, {"zero.bench-1": seen({CHANNELS[1]: 1.5})})
    assert "amps (channel 1): at zero this channel still moves" in found.asked[-1].complaint
    _, found = asked({"zero.bench-1": "yes"}, {})
    assert "sent nothing just then" in found.asked[-1].complaint
    _, found = asked({"zero.bench-1": "no"}, {})
    assert found.finished
