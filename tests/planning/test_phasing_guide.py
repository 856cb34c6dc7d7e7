"""Sources: textbook phasors; NEM 609:2010, section 6.1, for the ban; the rest is common practice, no published source."""

import datetime as dt
import re
from pathlib import Path

import pytest

from monitor.layout import parse_layout
from monitor.layout.joined_commons import COMMONS
from monitor.planning.bench_check import check_all
from monitor.planning.phasing_guide import PhaseReading, guide, phase_verdict, ways_to_turn
from monitor.planning.plan_file import Plan
from monitor.planning.plan_load import parse_plan
from tests.layout.fernhollow import BOTH_FIT, FERNHOLLOW

ROOT = Path(__file__).parents[2]
LAYOUT = parse_layout(BOTH_FIT)
TODAY = dt.date(2026, 11, 30)
MEASURED = '[[terminals]]\nsupply = "North bench"\ncommon = "U"\nhot = { A = "V1" }\n'


def walk(text):
    layout = parse_layout(text)
    return guide(layout, check_all(layout, Plan(), today=TODAY))


def verdict(text, reading, pair=()):
    layout = parse_layout(text)
    own, other, between = reading
    readings = [PhaseReading(own_volts=own, other_volts=other, between_volts=between)]
    return phase_verdict(layout, check_all(layout, Plan(), today=TODAY), readings, pair).verdict


def test_the_walk_proves_both_supplies_before_it_judges():
    text = walk(BOTH_FIT)
    places = [
        text.index(words)
        for words in ("NEM 609", "Measure each supply alone", "Join the two commons", "between the two hot posts", "Turn North")
    ]
    assert places == sorted(places)
    # South bench has no throttle and gives its 16 V; North bench stands at half of that and is turned up by a quarter.
    assert "in phase about 8 V, in anti-phase about 24 V" in text
    assert "Turn North bench up by 4 V" in text
    # In phase the volts subtract, in anti-phase they add (textbook phasors): what is between falls, or rises, by as much.
    assert "in phase the reading between them falls by as much, in anti-phase it rises" in " ".join(text.split())
    assert "A reading that does not follow is no verdict" in text
    assert "pilotlamp phase LAYOUT --reading OWN OTHER BETWEEN judges each round" in text
    assert re.findall(r"^  (\d)\. ", text, re.M) == list("1234567")


def test_every_turn_of_a_plug_begins_with_the_strip_off():
    for line in walk(BOTH_FIT).splitlines():
        if "plug round" in line or "swap both wires" in line:
            assert "switch the strip off first" in line.lower()


def test_an_unfit_supply_gets_no_walk_and_no_verdict_but_danger_is_told():
    cloth = BOTH_FIT.replace('cord = "sound"', 'cord = "cloth"', 1)
    assert "Measure each supply alone" not in walk(cloth)
    assert "North bench gets no walk" in walk(cloth)
    assert verdict(cloth, (18, 14, 4)) == "no-verdict"
    assert verdict(FERNHOLLOW, (18, 14, 4)) == "no-verdict"
    assert verdict(cloth, (5, 5, 100)) == "stop"
    assert verdict(BOTH_FIT, (18, 14, 4)) == "in-phase"
    assert verdict(BOTH_FIT, (18, 14, 4), ("North bench", "South bench")) == "in-phase"


def test_two_throttles_stand_at_half_and_a_quarter_and_none_proves_nothing():
    text = walk(BOTH_FIT.replace('control = "constant"', 'control = "variable"'))
    assert "set North bench to about 8 V and South bench to about 4 V" in text
    assert "Turn South bench up by 2 V" in text
    assert "a meter alone proves nothing" in walk(BOTH_FIT.replace('control = "variable"', 'control = "constant"'))


def test_one_ac_supply_has_nothing_to_phase():
    alone = BOTH_FIT.replace('name = "South bench"\ncurrent = "ac"', 'name = "South bench"\ncurrent = "dc"')
    assert "nothing to phase" in walk(alone)
    assert verdict(alone, (18, 14, 4)) == "no-verdict"


@pytest.mark.parametrize(
    ("terminals", "says", "never"),
    [
        ("", "No output's wires are swapped: its terminals", "swap both wires"),
        (MEASURED, "its outputs share a post", "swap both wires"),
        (MEASURED + 'alone = ["A"]\n', "swap both wires of output A", "share a post"),
    ],
)
def test_wires_are_swapped_only_where_an_output_shares_no_post(terminals, says, never):
    words = ways_to_turn(LAYOUT.supply_named("North bench"), parse_plan(terminals, LAYOUT))
    assert says in words
    assert never not in words.replace("which shares no post", "")


def test_a_polarised_or_earthed_plug_is_not_turned():
    polarised = parse_layout(BOTH_FIT.replace("earthed = false", "earthed = false\npolarised_plug = true"))
    words = ways_to_turn(polarised.supply_named("North bench"), Plan())
    assert "plug goes in one way" in words
    assert "turn its mains plug" not in words


@pytest.mark.parametrize("page", ["README.md", "firmware_notes/wiring.md"])
def test_the_paragraph_on_commons_is_quoted_word_for_word(page):
    assert COMMONS in " ".join((ROOT / page).read_text(encoding="utf-8").replace("> ", "").split())


def test_the_walk_quotes_it_too():
    assert COMMONS in walk(BOTH_FIT)
