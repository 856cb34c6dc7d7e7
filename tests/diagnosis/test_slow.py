"""Slow trouble: source ohms from natural steps, loop ohms against published wire resistance, tired motors, early breakers."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from monitor.diagnosis import Diagnosis
from monitor.layout import Layout
from monitor.values import ReadingBlock, SlowFigure
from tests.diagnosis.benches import Bench, layout, layout_text, part


def slow_figures(block: ReadingBlock, plan: Layout) -> tuple[list[SlowFigure], Diagnosis]:
    diagnosis = Diagnosis(plan)
    found: list[SlowFigure] = []
    for first in range(0, len(block), 1500):
        piece = part(block, first, min(len(block), first + 1500))
        diagnosis.feed((), (piece,), float(piece.end_s[-1]))
        found += diagnosis.drain()[1]
    diagnosis.finish(float(block.end_s[-1]))
    return found + diagnosis.drain()[1], diagnosis


def test_source_ohms_from_the_steps_that_loads_make():
    bench = Bench(seconds=90)
    for at_s in range(10, 85, 8):
        bench.extra[bench.rows(at_s, at_s + 3), 1] = 2.5
        bench.extra[bench.rows(at_s + 4, at_s + 6), 3] = 1.5
    figures, diagnosis = slow_figures(bench.readings(), layout())
    # Thevenin: the bench is made with 0.3 and 0.4 ohms.
    assert diagnosis.source_ohms() == pytest.approx({"North bench": 0.3, "South bench": 0.4}, rel=0.05)
    assert {f.name for f in figures if f.kind == "source-ohms"} == {"North bench", "South bench"}


def test_volts_moved_by_hand_tell_nothing_of_the_source():
    bench = Bench(seconds=60)
    bench.fed[:, 0] = 1 - 0.2 * np.clip((bench.at_s - 25) / 1.5, 0, 1)
    assert slow_figures(bench.readings(), layout())[1].source_ohms() == {}


# Ohms per kilometre at 20 degrees: solid copper, NBS Circular 31 / Handbook 100 (14, 16, 18 AWG).
PUBLISHED = [(14, 8.285), (16, 13.174), (18, 20.948)]


@pytest.mark.parametrize(("awg", "ohms_per_km"), PUBLISHED)
@pytest.mark.parametrize("joint_ohms", [0.0, 0.15])
def test_loop_ohms_against_the_wire(awg: int, ohms_per_km: float, joint_ohms: float):
    text = layout_text().replace(
        "amps_channel = 1\n", f"amps_channel = 1\nfar_volts_channel = 8\nfeeder = {{ awg = {awg}, one_way_m = 7.5 }}\n"
    )
    plan = msgspec.toml.decode(text, type=Layout)
    block = Bench(seconds=70).readings()
    far = np.full(block.volts_rms.shape, np.nan)
    wire_ohms = 2 * 7.5 * ohms_per_km / 1000
    far[:, 0] = block.volts_rms[:, 0] - (wire_ohms + joint_ohms) * block.amps_rms[:, 0]
    figures, _ = slow_figures(replace(block, far_volts_rms=far), plan)
    loop = next(f for f in figures if f.kind == "loop-ohms")
    assert loop.reference == pytest.approx(wire_ohms, rel=0.001)
    assert loop.value == pytest.approx(wire_ohms + joint_ohms, rel=0.02)


def test_a_motor_that_draws_more_as_the_evening_goes_on():
    bench = Bench(seconds=13 * 60, step_s=0.004)
    bench.load[:, 0] = 1 + 0.3 * bench.at_s / bench.seconds
    figures, _ = slow_figures(bench.readings(), layout())
    by_name = {f.name: f for f in figures if f.kind == "running-amps"}
    assert by_name["Outer main"].value > 1.1 * by_name["Outer main"].reference
    assert by_name["Inner main"].value == pytest.approx(by_name["Inner main"].reference, rel=0.03)


def test_a_breaker_that_opens_earlier():
    bench = Bench(seconds=130)
    for at_s, lasting_s in ((10, 25), (60, 12)):
        bench.extra[bench.rows(at_s, at_s + lasting_s), 0] = 11
        bench.fed[bench.rows(at_s + lasting_s, at_s + lasting_s + 10), :2] = 0
    figures, _ = slow_figures(bench.readings(), layout())
    first, second = [f for f in figures if f.kind == "opening-share"]
    assert first.name == "North bench"
    assert second.reference == pytest.approx(first.value)
    assert second.value == pytest.approx(first.value * 12 / 25, rel=0.05)
