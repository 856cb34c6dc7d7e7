"""A shared return of several supplies, against a circuit simulator (ngspice) and by hand.

Sources: Kirchhoff's laws (textbook); NBS Circular 31 / IEC 60028 copper: 14 AWG has 2.525 ohms per 1000 ft at 20 degrees.
"""

import re
import shutil
import subprocess

import pytest

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.layout.joined_commons import COMMONS
from monitor.planning.budget import BudgetOptions, make_budget
from monitor.planning.budget_words import budget_text, return_rows
from monitor.planning.feeders import return_drops
from monitor.planning.plan_load import parse_plan
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

SHOW = head_text()
for name, volts in (("North bench", 18), ("South bench", 18), ("East bench", 16)):
    SHOW += supply_text(name, volts) + output_text("A", name)
DISTRICTS = (
    ("Outer main", "North bench", 3.0),
    ("Inner main", "South bench", 4.0),
    ("Quarry branch", "South bench", 1.5),
    ("Mill", "East bench", 2.0),
)
for k, (name, bench, amps) in enumerate(DISTRICTS):
    SHOW += district_text(k, name, bench)
    SHOW += f'[[load]]\nname = "Train {k}"\ndistrict = "{name}"\nkind = "locomotive"\nrunning_amps = {amps}\nstarting_amps = {2 * amps}\n'
LAYOUT = parse_layout(SHOW)
TAPS = (
    ("supply", "North bench", 0.0), ("district", "Outer main", 6.0), ("supply", "South bench", 9.0), ("district", "Quarry branch", 14.0),
    ("district", "Inner main", 20.0), ("supply", "East bench", 22.0), ("district", "Mill", 25.0),
)  # fmt: skip
OHMS_A_METRE = 2.525 / 304.8


def text_of_plan(ring_m=None, opposed=(), taps=TAPS, awg=14):
    text = (
        f'celsius = 20\n[[common]]\nname = "outer rails"\nawg = {awg}\nopposed = [{", ".join(f"{name!r}" for name in opposed)}]\n'
    )
    text += "" if ring_m is None else f"ring_m = {ring_m}\n"
    text += "".join(f'[[common.tap]]\nat_m = {at}\n{kind} = "{name}"\n' for kind, name, at in taps)
    return text


def plan(*args, **more):
    return parse_plan(text_of_plan(*args, **more), LAYOUT)


def spice(tmp_path, ring_m, opposed, at_worst):
    """Lost volts of one district by ngspice: sources with their commons on the wire, loads as current sinks from hot to the wire."""
    place = {name: f"n{k}" for k, (_, name, _) in enumerate(TAPS)}
    lines = ["* shared return", "Rground n0 0 1"]
    spans = [(f"n{k}", f"n{k + 1}", TAPS[k + 1][2] - TAPS[k][2]) for k in range(len(TAPS) - 1)]
    if ring_m is not None:
        spans.append((f"n{len(TAPS) - 1}", "n0", ring_m - TAPS[-1][2]))
    lines += [f"R{k} {a} {b} {length * OHMS_A_METRE!r}" for k, (a, b, length) in enumerate(spans)]
    for name, volts in (("North bench", 18), ("South bench", 18), ("East bench", 16)):
        sign = -1 if name in opposed else 1
        lines.append(f"V{name[0]} hot{name[0]} {place[name]} {sign * volts}")
    for k, (name, supply, amps) in enumerate(DISTRICTS):
        sign = -1 if supply in opposed else 1
        lines.append(f"I{k} hot{supply[0]} {place[name]} {sign * amps * (2 if name == at_worst else 1)}")
    supply = next(supply for name, supply, _ in DISTRICTS if name == at_worst)
    lines += [".op", f".print op v({place[at_worst]},{place[supply]})", ".end"]
    (tmp_path / "return.cir").write_text("\n".join(lines) + "\n")
    done = subprocess.run(["ngspice", "-b", "return.cir"], cwd=tmp_path, capture_output=True, text=True, check=True)
    (found,) = re.findall(r"^0\s+([-\d.eE+]+)\s*$", done.stdout, re.M)
    return float(found) * (-1 if supply in opposed else 1)


@pytest.mark.parametrize(("ring_m", "opposed"), [(None, ()), (30.0, ()), (None, ("South bench",)), (30.0, ("East bench",))])
def test_losses_in_the_network_against_ngspice(tmp_path, ring_m, opposed):
    assert shutil.which("ngspice"), "ngspice is missing: install Debian's package ngspice"
    budget = make_budget(LAYOUT, BudgetOptions(celsius=20.0), plan(ring_m, opposed))
    lost = budget.returns[0].lost_volts
    for name, _, _ in DISTRICTS:
        assert lost[name] == pytest.approx(spice(tmp_path, ring_m, opposed, name), abs=1e-3), name


def test_one_supply_and_one_district_by_hand():
    # 20 ft of 14 AWG, 10 A at 20 degrees: half of the 1.010 V of the way out and back.
    made = plan(taps=(("supply", "North bench", 0.0), ("district", "Outer main", 6.096)))
    drops = return_drops(LAYOUT, made.common[0], {"Outer main": (10.0, 10.0)}, drop_share=0.05, celsius=20.0)
    assert drops.lost_volts["Outer main"] == pytest.approx(0.505, abs=0.001)
    assert drops.neighbours_volts["Outer main"] == pytest.approx(0.0, abs=1e-12)
    assert drops.most_amps == pytest.approx(10.0)
    assert drops.better_awg is None


def test_a_neighbours_current_in_the_shared_wire_costs_volts_and_in_anti_phase_gives_them_back():
    taps = (
        ("supply", "North bench", 0.0),
        ("supply", "South bench", 0.0),
        ("district", "Outer main", 12.0),
        ("district", "Inner main", 12.0),
    )
    amps = {"Outer main": (3.0, 3.0), "Inner main": (4.0, 4.0)}
    ohms = 12.0 * OHMS_A_METRE
    for opposed, neighbour in ((), 4.0), (("South bench",), -4.0):
        drops = return_drops(LAYOUT, plan(taps=taps, opposed=opposed).common[0], amps, drop_share=0.05, celsius=20.0)
        assert drops.lost_volts["Outer main"] == pytest.approx((3.0 + neighbour) * ohms, rel=1e-3)
        assert drops.neighbours_volts["Outer main"] == pytest.approx(neighbour * ohms, rel=1e-3)
        assert drops.most_amps == pytest.approx(abs(3.0 + neighbour), rel=1e-6)


def test_volts_across_gaps_are_named_where_commons_oppose():
    said = budget_text(make_budget(LAYOUT, None, plan(opposed=("South bench",))))
    highest = {supply.name: supply.max_volts for supply in LAYOUT.supply}
    # Two supplies in anti-phase add up (textbook phasors).
    worst = highest.pop("South bench") + max(highest.values())
    assert f"up to {worst:g} V stand across the gaps" in said
    assert "across the gaps" not in budget_text(make_budget(LAYOUT, None, plan()))
    assert COMMONS in said
    assert COMMONS not in budget_text(make_budget(LAYOUT))
    nothing = make_budget(LAYOUT, None, parse_plan('[[common]]\nname = "rail"\nawg = 14\ntap = []\n', LAYOUT)).returns[0]
    assert list(return_rows(nothing)) == []


def test_a_supply_is_not_in_phase_and_opposed_at_once():
    text = '[[common]]\nname = "rail"\nawg = 14\nopposed = ["South bench"]\ntap = [{ at_m = 0.0, supply = "South bench" }]\n'
    with pytest.raises(LayoutError, match="one or the other"):
        parse_plan('phased = [["North bench", "South bench"]]\n' + text, LAYOUT)
    assert parse_plan(text, LAYOUT)


def test_too_thin_a_wire_is_said_with_one_that_would_do():
    drops = make_budget(LAYOUT, BudgetOptions(celsius=20.0), plan(awg=22)).returns[0]
    assert drops.better_awg is not None
    assert f"{drops.better_awg} AWG would bring that under" in " ".join(return_rows(drops))
    better = make_budget(LAYOUT, BudgetOptions(celsius=20.0), plan(awg=drops.better_awg)).returns[0]
    assert better.better_awg is None
    assert "would bring" not in " ".join(return_rows(better))
    assert all(better.lost_volts[name] <= 0.05 * 16 + 0.1 for name in better.lost_volts)


def test_the_budget_counts_the_shared_return_in_place_of_the_feeders_own():
    entry = next(e for e in make_budget(LAYOUT, BudgetOptions(celsius=20.0), plan()).entries if e.name == "Outer main")
    assert entry.feeder is not None
    assert entry.feeder.return_volts == pytest.approx(entry.feeder.lost_volts)
    assert "in the shared return" in entry.feeder.words


def test_of_a_loop_that_was_measured_only_the_neighbours_part_of_the_return_comes_on_top():
    loop = '\n[[track]]\ndistrict = "Outer main"\nloop_ohms = 0.3\n'
    alone = make_budget(LAYOUT, BudgetOptions(celsius=20.0), plan())
    measured = make_budget(LAYOUT, BudgetOptions(celsius=20.0), parse_plan(text_of_plan() + loop, LAYOUT))
    feeder = next(each for each in measured.entries if each.name == "Outer main").feeder
    assert feeder is not None
    # The engine starts at 6.0 A.
    assert feeder.lost_volts == pytest.approx(6.0 * 0.3 + alone.returns[0].neighbours_volts["Outer main"])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda taps: taps[1:], "whose common is not joined"),
        (lambda taps: [*taps, ("district", "Mill", 3.0)], "joined twice"),
        (lambda taps: [*taps, ("district", "Milk", 3.0)], 'did you mean "Mill"'),
    ],
)
def test_what_cannot_be_is_said(change, words):
    with pytest.raises(LayoutError, match=words):
        plan(taps=change(list(TAPS)))
