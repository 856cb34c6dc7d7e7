"""Common practice, no published source: three-rail track takes the hot wire on its centre rail and the common on the outer rails."""

from xml.etree import ElementTree as ET

import pytest

from monitor.layout import load_layout, parse_layout
from monitor.planning.plan_edit import add_candidate, keep_terminals, remove_candidate
from monitor.planning.plan_file import Candidate
from monitor.planning.plan_load import load_plan, parse_plan, plan_path
from monitor.planning.share_values import needs_of, offers_of
from monitor.planning.share_words import draw_share
from monitor.planning.sharing import share_load
from monitor.planning.wiring_card import card_text, draw_card, wires_of
from tests.layout.fernhollow import FERNHOLLOW
from tests.planning.test_bench_check import TODAY
from tests.planning.test_terminals import found_for, rounds_of

LAYOUT = parse_layout(FERNHOLLOW)
MEASURED = 'rails = 2\n[[terminals]]\nsupply = "North bench"\ncommon = "U"\nhot = { A = "V1" }\nvolts = { V1 = "6.0-18.0 V" }\n'


def words_in(svg):
    return " ".join(element.text or "" for element in ET.fromstring(svg).iter())  # noqa: S314 - our own picture


def test_which_wire_where_on_three_rails_and_two():
    rows = [(wire.terminal, wire.carries, wire.to, wire.size) for wire in wires_of(LAYOUT)]
    assert rows == [
        ("A", "hot", "centre rail of Outer main", "16 AWG, 7.5 m"),
        ("common of A", "common", "outer rails of Outer main", "16 AWG, 7.5 m"),
        ("B", "accessory", "Town lights, hot side", ""),
        ("common of B", "common", "Town lights, accessory common", ""),
    ]
    two = card_text(LAYOUT, parse_plan(MEASURED, LAYOUT))
    assert "V1" in two
    assert "to one rail of Outer main" in two
    assert "to other rail of Outer main" in two
    assert "measured against U: V1 6.0-18.0 V" in two


@pytest.mark.parametrize("text", ["", MEASURED])
def test_the_card_is_drawn_with_every_wire(text):
    plan = parse_plan(text, LAYOUT)
    svg = draw_card(LAYOUT, plan)
    said = words_in(svg)
    for wire in wires_of(LAYOUT, plan):
        assert wire.to in said
        assert wire.terminal in said
    assert "NEM 609" in said


def test_names_cannot_break_the_picture():
    layout = parse_layout(FERNHOLLOW.replace('"Outer main"', '"Outer <main> & \\"yard\\""'))
    assert 'Outer <main> & "yard"' in words_in(draw_card(layout))


def test_the_share_plan_is_drawn_with_every_need():
    needs, offers = needs_of(LAYOUT), offers_of(LAYOUT, today=TODAY)
    said = words_in(draw_share(share_load(needs, offers), needs, offers))
    assert "Outer main 2.4 A (output A)" in said
    assert "Everything has a place" in said


def test_measured_terminals_are_kept_beside_the_layout_and_replaced(tmp_path):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    found = found_for(["U", "A", "C"], rounds_of({"U": 0, "A": 6, "C": 14}, left={"A": 18}), max_volts=18)
    add_candidate(path, Candidate(name="Used 110", price=45, current="ac", max_volts=18, rated_va=110, count=2))
    plan_path(path).write_text("# ours\n" + plan_path(path).read_text())
    for _ in range(2):
        keep_terminals(path, "North bench", found, rails=2)
    plan = load_plan(path, load_layout(path))
    (terminals,) = plan.terminals
    assert (terminals.common, terminals.hot, plan.rails) == ("U", {"A": "A"}, 2)
    assert terminals.volts == {"A": "6.0-18.0 V", "C": "14.0 V"}
    assert plan.candidate[0].count == 2
    remove_candidate(path, "Used 110")
    assert load_plan(path, load_layout(path)).candidate == ()
    assert plan_path(path).read_text().startswith("# ours")
