"""Sources: textbook phasors (18/18 V give 0 or 36 V between hots, 18/14 V give 4 or 32 V; the same from a circuit simulator); NEM 609:2010
section 6.1 for the ban."""

import pytest

from monitor.layout import parse_layout
from monitor.planning.phasing_guide import CAUTIONS, expected_volts, guide, judge_reading
from tests.layout.fernhollow import FERNHOLLOW


@pytest.mark.parametrize(("first", "second", "in_phase", "anti_phase"), [(18, 18, 0, 36), (18, 14, 4, 32)])
def test_expected_volts(first, second, in_phase, anti_phase):
    expected = expected_volts(first, second)
    assert (expected.in_phase_volts, expected.anti_phase_volts) == (in_phase, anti_phase)


@pytest.mark.parametrize(
    ("between", "verdict"), [(0.4, "in-phase"), (35.0, "anti-phase"), (18.0, "unclear"), (31.0, "anti-phase"), (4.5, "in-phase")]
)
def test_a_reading_is_judged(between, verdict):
    assert judge_reading(18, 18 if between != 31.0 else 14, between) == verdict


def test_the_cautions_come_before_the_first_step():
    text = guide(parse_layout(FERNHOLLOW))
    assert text.index("NEM 609") < text.index("1. Both plugs")
    for caution in CAUTIONS:
        assert text.index(caution) < text.index("North bench and South bench")
    assert "mains volts on the plug" in text
    # At three tenths of 18 V and 16 V: 5.4 and 4.8 V.
    assert "about 1 V, in anti-phase about 10 V" in text


def test_one_ac_supply_has_nothing_to_phase():
    alone = FERNHOLLOW.replace('name = "South bench"\ncurrent = "ac"', 'name = "South bench"\ncurrent = "dc"')
    assert "nothing to phase" in guide(parse_layout(alone))
