"""Limits of supplies, outputs and wires."""

import msgspec
import pytest

from monitor.layout import Feeder
from monitor.protection.limits import ampacity_amps, nameplate_notes, supply_limits, usable_va, winding_amps
from tests.protection.streams import layout_with


def supply(**changes):
    return msgspec.structs.replace(layout_with().supply[0], **changes)


def test_winding_current_is_rated_va_over_highest_volts():
    """180 VA at 18 V is 10.0 A, and still 10.0 A at 9 V: copper heating follows the current (textbook)."""
    assert winding_amps(supply()) == 10.0


def test_a_plate_of_the_primary_side_is_derated_and_says_so():
    """Older plates: usable output 70-80 % (common practice, no published source)."""
    old = supply(rating_is="input", rated_va=200)
    assert usable_va(old) == pytest.approx(150)
    assert "75 % of its plate of 200" in supply_limits(old)[0].words


def test_toy_limits_are_told():
    """IEC 61558-2-7: 200 VA, 10 A, 24 V AC; Class 2 (NEC chapter 9 table 11(A)): 5 A, 100 VA."""
    assert not any("toy transformer" in note for note in nameplate_notes(supply()))
    big = " ".join(nameplate_notes(supply(rated_va=300, max_volts=25)))
    for words in ("300 VA is more than the 200 VA", "12.0 A is more than the 10 A", "25 V is more than the 24 V", "Class 2"):
        assert words in big
    assert not any("Class 2" in note for note in nameplate_notes(supply(rated_va=80, max_volts=18)))
    assert not any("Class 2" in note for note in nameplate_notes(supply(rated_va=100, max_volts=20)))  # the bounds themselves
    assert any("Class 2" in note for note in nameplate_notes(supply(rated_va=110, max_volts=24)))
    assert any("Class 2" in note for note in nameplate_notes(supply(rated_va=90, max_volts=16)))


@pytest.mark.parametrize(("awg", "amps"), [(18, 7), (16, 10), (14, 15), (12, 20), (10, 30)])
def test_ampacity_meets_the_small_conductor_rule(awg, amps):
    """NEC 240.4(D), from memory; areas by ASTM B258."""
    assert ampacity_amps(Feeder(awg=awg, one_way_m=5)) == pytest.approx(amps, rel=0.005)
