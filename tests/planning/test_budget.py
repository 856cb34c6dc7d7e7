"""Sources: hand calculations from the nameplate rule (a winding's current limit is VA over highest volts at any throttle, textbook) and
from published wire resistance (NBS values; 14 AWG 2.525 ohms per 1000 ft at 20 degrees)."""

import re
import shutil
import subprocess

import pytest

from monitor.layout import Feeder, Load, parse_layout
from monitor.planning.budget import BudgetOptions, budget_text, draw_of, feeder_volts, reckon
from monitor.planning.typical_draws import TYPICAL_DRAWS
from tests.layout.fernhollow import FERNHOLLOW

MORE_LOADS = """
[[load]]
name = "Express"
district = "Outer main"
kind = "locomotive"
running_amps = 3.0
starting_amps = 5.0

[[load]]
name = "Street lamps"
district = "Town lights"
kind = "lighting"
running_amps = 1.5
"""
LAYOUT = parse_layout(FERNHOLLOW.replace("[calibration", MORE_LOADS + "\n[calibration"))
COLD = BudgetOptions(celsius=20.0)


def entry(name, layout=LAYOUT):
    return next(found for found in reckon(layout, COLD) if found.name == name)


def test_typical_running_and_worst_draw():
    draw = entry("Outer main").draw
    assert draw.running_amps == pytest.approx(2.4 + 3.0)
    assert draw.typical_amps == pytest.approx(0.8 * 5.4)
    # One start on top of everything running: the heavier of 4.5 - 2.4 and 5.0 - 3.0.
    assert draw.worst_amps == pytest.approx(5.4 + 2.1)


def test_every_limit_of_a_supply_and_which_binds():
    north = entry("North bench")
    by_name = {limit.limit: limit for limit in north.limits}
    assert by_name["nameplate total"].drawn == pytest.approx(5.4 * 18)
    assert by_name["winding current"].allowed == pytest.approx(180 / 18)
    assert by_name["protection rating"].allowed == 10
    assert north.binding is not None
    assert north.binding.share == pytest.approx(0.54)
    south = entry("South bench")
    assert south.binding is not None
    assert south.binding.share == pytest.approx(1.5 / (75 / 16))


def test_a_plate_that_rates_the_input_is_derated():
    text = FERNHOLLOW.replace('rating_is = "output"', 'rating_is = "input"')
    north = entry("North bench", parse_layout(text))
    assert next(limit for limit in north.limits if limit.unit == "VA").allowed == pytest.approx(180 * 0.75)


def test_feeder_volts_by_hand():
    # 14 AWG, 20 ft one way, 10 A at 20 degrees: 2 x 20 x 2.525/1000 x 10 = 1.010 V, 5.61 % of 18 V.
    volts = feeder_volts(Feeder(awg=14, one_way_m=6.096), 18.0, 10.0, COLD)
    assert volts.lost_volts == pytest.approx(1.010, abs=0.001)
    assert volts.lost_share == pytest.approx(0.0561, abs=0.0001)
    assert volts.better_awg == 12
    assert feeder_volts(Feeder(awg=14, one_way_m=6.096), 18.0, 1.0, COLD).better_awg is None


def test_feeder_volts_against_ngspice(tmp_path):
    """A circuit simulator as the independent solver: source, feeder out and back, constant-current load."""
    assert shutil.which("ngspice"), "ngspice is missing: install Debian's package ngspice"
    ohms = 6.096 * 17.241379e-9 / 2.0809e-6
    deck = f"feeder\nV1 a 0 18\nR1 a b {ohms}\nR2 c 0 {ohms}\nI1 b c 10\n.op\n.print op v(b,c)\n.end\n"
    (tmp_path / "feeder.cir").write_text(deck)
    done = subprocess.run(["ngspice", "-b", "feeder.cir"], cwd=tmp_path, capture_output=True, text=True, check=True)
    arriving = float(re.findall(r"v\(b,c\)\s*=?\s*([-\d.eE+]+)|^0\s+([-\d.eE+]+)", done.stdout, re.M)[0][-1] or 0)
    volts = feeder_volts(Feeder(awg=14, one_way_m=6.096), 18.0, 10.0, COLD)
    assert volts.arriving_volts == pytest.approx(arriving, abs=2e-3)


def test_the_table_says_what_is_over():
    heavy = FERNHOLLOW.replace("running_amps = 2.4", "running_amps = 12.0").replace("starting_amps = 4.5", "starting_amps = 14.0")
    text = budget_text(reckon(parse_layout(heavy)))
    assert "OVER" in text
    assert "nameplate total" in text or "winding current" in text
    assert "OVER" not in budget_text(reckon(LAYOUT))


def test_draws_of_nothing_are_zero():
    assert draw_of([], COLD).worst_amps == 0


def test_a_load_without_a_starting_figure_starts_as_it_runs():
    made = Load(name="lamp", district="x", kind="lighting", running_amps=0.5)
    assert draw_of([made], COLD).worst_amps == 0.5


def test_the_table_of_typical_draws_says_where_it_comes_from():
    assert all(draw.source for draw in TYPICAL_DRAWS)
    assert all(draw.low_amps <= draw.running_amps <= draw.high_amps for draw in TYPICAL_DRAWS)
