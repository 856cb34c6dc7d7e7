"""Sources: hand calculations from the nameplate rule (a winding's current limit is VA over highest volts at any throttle, textbook) and
from published wire resistance (NBS values; 14 AWG 2.525 ohms per 1000 ft at 20 degrees)."""

import json
import re
import shutil
import subprocess
import tomllib

import pytest

from monitor.cli.main import main
from monitor.errors import LayoutError
from monitor.layout import Feeder, Load, parse_layout
from monitor.planning.bench_check import check_all
from monitor.planning.budget import BudgetOptions, draw_of, make_budget
from monitor.planning.budget_words import binding_words, budget_text
from monitor.planning.feeders import ConductorRun, feeder_volts
from monitor.planning.plan_file import TrackLoss
from monitor.planning.plan_load import parse_plan
from monitor.planning.planned_loads import TYPICAL_DRAWS, PlannedLoad
from monitor.planning.share_values import needs_of, offers_of
from monitor.planning.sharing import share_load
from tests.layout.fernhollow import BOTH_FIT, FERNHOLLOW, district_text, head_text, output_text, supply_text
from tests.planning.test_bench_check import TODAY

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
AT_20 = {"drop_share": 0.05, "celsius": 20.0}


def entry(name, layout=LAYOUT):
    return next(found for found in make_budget(layout, COLD).entries if found.name == name)


def test_typical_running_and_worst_draw():
    draw = entry("Outer main").draw
    assert draw.running_amps == pytest.approx(2.4 + 3.0)
    assert draw.typical_amps == pytest.approx(0.8 * 5.4)
    # One start on top of everything running: the heavier of 4.5 - 2.4 and 5.0 - 3.0.
    assert draw.worst_amps == pytest.approx(5.4 + 2.1)


def test_every_limit_of_a_supply_and_which_binds():
    north = entry("North bench")
    by_name = {limit.limit: limit for limit in north.limits}
    assert by_name["nameplate total"].drawn == pytest.approx(5.4)
    assert by_name["winding current"].allowed == pytest.approx(180 / 18)
    assert by_name["protection rating"].allowed == 10
    assert by_name["winding current"].worst_share == pytest.approx(7.5 / 10)
    assert by_name["winding current"].typical_share == pytest.approx(0.8 * 5.4 / 10)
    assert north.binding is not None
    assert north.binding.share == pytest.approx(0.54)
    south = entry("South bench")
    assert south.binding is not None
    assert south.binding.share == pytest.approx(1.5 / (75 / 16))


def test_a_plate_that_rates_the_input_is_derated():
    text = FERNHOLLOW.replace('rating_is = "output"', 'rating_is = "input"')
    north = entry("North bench", parse_layout(text))
    assert next(limit for limit in north.limits if limit.kind == "plate").allowed == pytest.approx(180 * 0.75 / 18)


def test_feeder_volts_by_hand():
    # 14 AWG, 20 ft one way, 10 A at 20 degrees: 2 x 20 x 2.525/1000 x 10 = 1.010 V, 5.61 % of 18 V.
    volts = feeder_volts(ConductorRun(feeder=Feeder(awg=14, one_way_m=6.096)), 18.0, 10.0, **AT_20)
    assert volts.lost_volts == pytest.approx(1.010, abs=0.001)
    assert volts.lost_share == pytest.approx(0.0561, abs=0.0001)
    assert volts.better_awg == 12
    assert "12 AWG would bring that under the chosen loss" in volts.words
    assert feeder_volts(ConductorRun(feeder=Feeder(awg=14, one_way_m=6.096)), 18.0, 1.0, **AT_20).better_awg is None


@pytest.mark.parametrize(
    ("more", "lost_volts", "better_awg"),
    [
        # 20 ft of 14, 12, 10 AWG: 2.525, 1.588, 0.9989 ohms per 1000 ft; 10 A lose 0.505, 0.318, 0.200 V one way. 0.9 V are allowed.
        ({"return_volts": 0.3}, 0.805, None),
        ({"return_volts": 0.5}, 1.005, 12),
        ({"return_volts": 0.6}, 1.105, 10),
        ({"return_volts": 0.8}, 1.305, None),
        ({"track": {"ohms_per_m": 0.01, "metres": 2.0}}, 1.210, 12),
        ({"track": {"ohms_per_m": 0.01, "metres": 3.0}}, 1.310, 10),
        ({"track": {"loop_ohms": 0.15}}, 1.500, 10),
        # Measured below what the wires alone would have: the measurement holds.
        ({"track": {"loop_ohms": 0.08}}, 0.800, None),
    ],
)
def test_what_a_thicker_wire_has_to_make_up_for(more, lost_volts, better_awg):
    track = TrackLoss(district="Outer main", **more["track"]) if "track" in more else None
    way = ConductorRun(feeder=Feeder(awg=14, one_way_m=6.096), track=track, return_volts=more.get("return_volts"))
    volts = feeder_volts(way, 18.0, 10.0, **AT_20)
    assert (volts.lost_volts, volts.arriving_volts) == pytest.approx((lost_volts, 18.0 - lost_volts), abs=0.001)
    assert volts.better_awg == better_awg


def test_feeder_volts_against_ngspice(tmp_path):
    """A circuit simulator as the independent solver: source, feeder out and back, constant-current load."""
    assert shutil.which("ngspice"), "ngspice is missing: install Debian's package ngspice"
    ohms = 6.096 * 17.241379e-9 / 2.0809e-6
    deck = f"feeder\nV1 a 0 18\nR1 a b {ohms}\nR2 c 0 {ohms}\nI1 b c 10\n.op\n.print op v(b,c)\n.end\n"
    (tmp_path / "feeder.cir").write_text(deck)
    done = subprocess.run(["ngspice", "-b", "feeder.cir"], cwd=tmp_path, capture_output=True, text=True, check=True)
    arriving = float(re.findall(r"v\(b,c\)\s*=?\s*([-\d.eE+]+)|^0\s+([-\d.eE+]+)", done.stdout, re.M)[0][-1] or 0)
    volts = feeder_volts(ConductorRun(feeder=Feeder(awg=14, one_way_m=6.096)), 18.0, 10.0, **AT_20)
    assert volts.arriving_volts == pytest.approx(arriving, abs=2e-3)


def test_the_table_says_what_is_over():
    heavy = FERNHOLLOW.replace("running_amps = 2.4", "running_amps = 12.0").replace("starting_amps = 4.5", "starting_amps = 14.0")
    text = budget_text(make_budget(parse_layout(heavy)))
    assert "OVER" in text
    assert "nameplate total" in text or "winding current" in text
    assert "OVER" not in budget_text(make_budget(LAYOUT))


def test_where_the_others_leave_nothing_anything_is_too_much():
    text = LAYOUT_OF_FOUR.replace("running_amps = 4.0", "running_amps = 6.0")
    (limit,) = next(each for each in make_budget(parse_layout(text)).entries if each.name == "Old four/A").limits
    # By hand: 275 / 18 = 15.3 A, and the other three draw 18 A.
    assert (limit.allowed, limit.share) == (0.0, float("inf"))
    idle = text.replace("running_amps = 6.0", "running_amps = 0.0", 1)
    (limit,) = next(each for each in make_budget(parse_layout(idle)).entries if each.name == "Old four/A").limits
    assert limit.share == 0.0


def test_lit_cars_on_a_track_are_taken_to_suit_its_volts_unless_they_say_otherwise():
    high = FERNHOLLOW.replace("max_volts = 18", "max_volts = 24")
    for volts, said in (("", False), ("volts = 12", True)):
        cars = f'[[load]]\nname = "Lit cars"\ndistrict = "Outer main"\nkind = "lighting"\nrunning_amps = 0.4\n{volts}\n'
        words = budget_text(make_budget(parse_layout(high + cars)))
        assert ("Lit cars is made for 12 V; output North bench/A gives up to 24 V: keep the throttle so low" in words) == said


@pytest.mark.parametrize(
    ("running", "starting", "word"),
    [
        # 180 VA at 18 V: 10 A of winding and breaker, 8 A with a fifth kept free.
        ("7.9", "9.9", ""),
        ("8.2", "9.9", "Into the reserve: supply North bench, winding current: 8.2 of 10.0 A, 82 %."),
        ("7.9", "10.1", "For a moment over: supply North bench, winding current: a start on top makes 10.1 of 10.0 A."),
        ("10.1", "10.1", "OVER: supply North bench, winding current: 10.1 of 10.0 A, 101 %."),
    ],
)
def test_reserve_start_and_overload_are_told_apart(running, starting, word):
    text = FERNHOLLOW.replace("running_amps = 2.4", f"running_amps = {running}").replace(
        "starting_amps = 4.5", f"starting_amps = {starting}"
    )
    words = [
        line
        for line in binding_words(make_budget(parse_layout(text)))
        if "North bench, winding" in line and "Reached first" not in line
    ]
    assert words == ([word] if word else [])


def test_a_layout_on_which_nothing_draws_says_what_to_add():
    (head, *_) = FERNHOLLOW.split("[[load]]")
    assert list(binding_words(make_budget(parse_layout(head)))) == [
        "Nothing draws yet: add [[load]] tables, or guess with the plan file's [[guess]]."
    ]


def test_draws_of_nothing_are_zero():
    assert draw_of([], COLD).worst_amps == 0


def test_a_load_without_a_starting_figure_starts_as_it_runs():
    made = Load(name="lamp", district="x", kind="lighting", running_amps=0.5)
    assert draw_of([PlannedLoad(load=made, source="x")], COLD).worst_amps == 0.5


def test_the_table_of_typical_draws_says_where_it_comes_from():
    assert all(draw.source for draw in TYPICAL_DRAWS)
    assert all(draw.low_amps <= draw.running_amps <= draw.high_amps for draw in TYPICAL_DRAWS)


def test_every_limit_with_its_shares_and_what_binds_are_said():
    text = budget_text(make_budget(LAYOUT))
    for words in ("nameplate total", "winding current", "protection rating", "output's own limit", "feeder ampacity", "VA"):
        assert words in text
    assert "Reached first: supply North bench" in text


def test_the_plate_total_is_what_all_outputs_share():
    # Common practice, no published source: 275 W on a supply with four outputs is the total of the four; accessories come out of it too.
    text = LAYOUT_OF_FOUR
    entries = {found.name: found for found in make_budget(parse_layout(text), COLD).entries}
    supply = entries["Old four"]
    assert supply.binding is not None
    assert supply.binding.drawn == pytest.approx(4 * 4.0)
    assert supply.binding.share == pytest.approx(288 / 275)
    for output in "ABCD":
        (limit,) = entries[f"Old four/{output}"].limits
        # By hand: 275 / 18 = 15.28 A in all, 12 A of it taken by the other three.
        assert limit.allowed == pytest.approx(275 / 18 - 12)


def test_an_unfit_supply_is_refused_load_unless_overridden_in_plain_sight():
    layout = parse_layout(FERNHOLLOW.replace('cord = "sound"', 'cord = "cloth"'))
    verdicts = check_all(layout, parse_plan("", layout), today=TODAY)
    refused = make_budget(layout, BudgetOptions.of_plan(parse_plan("", layout), verdicts))
    assert "NOT TO BE USED: North bench. Do not energise" in budget_text(refused)
    plan = parse_plan(
        '[[set_aside]]\nsupply = "North bench"\nreason = "rebuilt last week"\nby = "Ada"\non = "2026-11-29"\n', layout
    )
    text = budget_text(make_budget(layout, BudgetOptions.of_plan(plan, verdicts)))
    assert "NOT TO BE USED: North bench" not in text
    assert (
        "! North bench is used against the bench check's verdict: Ada answers for it since 2026-11-29 (rebuilt last week)" in text
    )


def test_measured_and_guessed_draws_say_so():
    text = FERNHOLLOW.replace(
        "starting_amps = 4.5", 'starting_amps = 4.5\nmeasured_on = "2026-11-20"\nmeasured_spread_amps = [2.2, 2.7]'
    )
    layout = parse_layout(text)
    plan = parse_plan('[[guess]]\nlike = "engine, can motor"\ndistrict = "Outer main"\ncount = 2\n', layout)
    said = budget_text(make_budget(layout, COLD, plan))
    assert "measured 2026-11-20, 2.20-2.70 A" in said
    assert "1 of 3 measured" in said
    assert "engine, can motor 2: 1.25 A, starts at 1.875 A (typical draw: common practice, no published source)" in said


def by_hand(text):
    """(of, limit) to (amps, limit amps), from the file's own figures."""
    raw = tomllib.loads(text)
    found = {}
    for supply in raw["supply"]:
        own = [district["name"] for district in raw["district"] if district["supply"] == supply["name"]]
        amps = sum(load["running_amps"] for load in raw["load"] if load["district"] in own)
        most = supply.get("rated_va", supply.get("rated_watts")) / supply["max_volts"]
        of = f"supply {supply['name']}"
        found[of, "plate"] = found[of, "winding"] = (amps, most)
        if "rated_amps" in supply.get("protection", {}):
            found[of, "protection"] = (amps, supply["protection"]["rated_amps"])
        for output in raw["output"]:
            if output["supply"] == supply["name"] and "max_amps" in output:
                here = [d["name"] for d in raw["district"] if (d["supply"], d["output"]) == (supply["name"], output["name"])]
                drawn = sum(load["running_amps"] for load in raw["load"] if load["district"] in here)
                found[f"output {supply['name']}/{output['name']}", "output"] = (drawn, output["max_amps"])
    return found


@pytest.mark.parametrize("text", [FERNHOLLOW, BOTH_FIT.replace("[calibration", MORE_LOADS + "\n[calibration")])
def test_budget_as_json(text, tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(text)
    assert main(["budget", str(path), "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    limits = {(line["of"], line["limit"]): line for line in lines if line["kind"] == "limit"}
    wanted = by_hand(text)
    # NEC 240.4(D), from memory: 10 A for 16 AWG.
    wanted["district Outer main", "feeder"] = (wanted["supply North bench", "plate"][0], 10.0)
    assert set(limits) == set(wanted)
    for place, (amps, most) in wanted.items():
        line = limits[place]
        assert (line["amps"], line["limit_amps"], line["used_share"]) == pytest.approx((amps, most, amps / most))
    outer, town = (line for line in lines if line["kind"] == "arrives")
    # 16 AWG 4.016 ohms a 1000 ft at 20 degrees (NBS), 7.5 m out and back at 40: times (234.5 + 40) / (234.5 + 20) (IEC 60228).
    worst = wanted["supply North bench", "plate"][0] + 2.1
    lost = worst * 15 / 304.8 * 4.016 * 274.5 / 254.5
    assert (outer["volts_lost"], outer["volts"]) == pytest.approx((lost, 18 - lost), rel=1e-3)
    assert town == {"kind": "arrives", "district": "Town lights", "volts_lost": None, "volts": None, "rails_counted": False}


@pytest.mark.parametrize("arguments", [["--drop", "9"], ["--celsius", "900"]])
def test_figures_that_cannot_be_are_refused(arguments, tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    assert main(["budget", str(path), *arguments]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_rails_and_joints_count_where_they_are_known_and_are_said_not_to_where_not():
    wire = 7.5 * 4.5 * 2 * 0.013174 * 274.5 / 254.5  # 16 AWG: 13.174 ohms a km at 20 degrees, 4.5 A
    for text, lost in (
        ("ohms_per_m = 0.02\nmetres = 9", wire + 4.5 * 0.18),
        ("loop_ohms = 0.42", 4.5 * 0.42),
    ):
        plan = parse_plan(f'[[track]]\ndistrict = "Outer main"\n{text}\n', LAYOUT)
        feeder = next(
            each for each in make_budget(parse_layout(FERNHOLLOW), None, plan).entries if each.name == "Outer main"
        ).feeder
        assert feeder is not None
        assert feeder.lost_volts == pytest.approx(lost, rel=1e-3)
        assert "not counted" not in feeder.words
    assert "rails and joints are not known and not counted" in budget_text(make_budget(LAYOUT))
    with pytest.raises(LayoutError, match="either loop_ohms"):
        parse_plan('[[track]]\ndistrict = "Outer main"\n', LAYOUT)


def test_one_rule_of_reserve_for_budget_and_sharing():
    # 60 of 90 VA at 18 V: 4 A at 15 V, which is 80 % of the winding's 5 A and all that a fifth kept free leaves.
    layout = parse_layout(BOTH_FIT.replace("rated_va = 180", "rated_va = 90").replace("running_amps = 2.4", "running_amps = 4.0"))
    budget = make_budget(layout)
    assert next(each for each in budget.entries if each.name == "North bench").limits[0].share == pytest.approx(0.8)
    plan = share_load(needs_of(layout), offers_of(layout, today=TODAY))
    assert plan.used_share["North bench"] == pytest.approx(0.8)
    assert plan.fits
    assert "Into the reserve" not in budget_text(budget)
    more = parse_layout(BOTH_FIT.replace("rated_va = 180", "rated_va = 90").replace("running_amps = 2.4", "running_amps = 4.1"))
    assert not share_load(needs_of(more), offers_of(more, today=TODAY)).fits
    assert "Into the reserve: supply North bench, nameplate total: 4.1 of 5.0 A, 82 %" in budget_text(make_budget(more))


@pytest.mark.parametrize(
    ("output", "load", "words"),
    [
        ("volts = 24", "", "has no volts in the layout file (accessories take 18 V at most)"),
        ("volts = 14", "", ""),
        ("volts = 14", "volts = 12", "Street lamps is made for 12 V; output South bench/B gives up to 14 V: put it on an output"),
        ("volts = 13", "volts = 12", ""),
    ],
)
def test_lamps_on_an_output_that_gives_more_than_they_take_are_said(output, load, words):
    text = BOTH_FIT.replace('name = "B"\ncontrol = "constant"', f'name = "B"\ncontrol = "constant"\n{output}')
    lamps = f'[[load]]\nname = "Street lamps"\ndistrict = "Town lights"\nkind = "lighting"\nrunning_amps = 1.5\n{load}\n'
    said = budget_text(make_budget(parse_layout(text + lamps)))
    assert words in said
    assert ("Street lamps is" in said or "Street lamps has" in said) == bool(words)


LAYOUT_OF_FOUR = (
    head_text()
    + supply_text("Old four").replace("rated_va = 180", "rated_watts = 275")
    + "".join(
        output_text(name, "Old four")
        + district_text(k, f"District {name}", "Old four", name)
        + f'[[load]]\nname = "Engine {name}"\ndistrict = "District {name}"\nkind = "locomotive"\nrunning_amps = 4.0\n'
        for k, name in enumerate("ABCD")
    )
)
