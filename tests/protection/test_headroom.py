"""What is left where, and which limit binds; worked by hand."""

import pytest

from monitor.layout import parse_layout
from monitor.protection.headroom import headroom
from monitor.values import Limit
from tests.protection.streams import DISTRICTS, HEAD, PLAIN, judged, readings

NARROW = DISTRICTS.replace('name = "B"\n', 'name = "B"\nmax_amps = 3\n').replace(
    'use = "track"\n', 'use = "track"\nfeeder = { awg = 18, one_way_m = 5 }\n', 1
)


def load(outer, inner, districts=NARROW, more=""):
    layout = parse_layout(HEAD + PLAIN + districts + more)
    return judged(layout, readings(20, lambda t: outer + 0 * t, lambda t: inner + 0 * t))[1].loads()[0]


def test_the_feeder_binds_where_it_is_the_tightest():
    """18 AWG carries 7 A (NEC 240.4(D), from memory): 5 A flow, 2 A are left; the winding has 4 A left."""
    outer = load(5.0, 1.0).districts[0]
    assert (outer.headroom.binding.kind, outer.headroom.binding.place) == ("feeder", "Outer main")
    assert outer.headroom.amps_left == pytest.approx(2.0, abs=0.05)
    assert outer.headroom.share == pytest.approx(5 / 7, abs=0.01)
    assert outer.headroom.sentence.startswith("one more 2 A engine fits on Outer main")
    assert "feeder to Outer main" in outer.headroom.sentence


def test_the_output_binds_for_what_it_feeds():
    found = load(1.0, 2.2)
    inner = found.districts[1]
    assert (inner.headroom.binding.kind, inner.headroom.amps_left) == ("output", pytest.approx(0.8, abs=0.02))
    assert "no further engine fits" in inner.headroom.sentence
    output = next(place for place in found.outputs if place.name == "North bench/B")
    assert (output.amps, output.headroom.binding.kind) == (pytest.approx(2.2, abs=0.02), "output")


def test_the_supply_binds_where_its_neighbours_take_the_rest():
    outer = load(5.0, 4.5, DISTRICTS).districts[0]
    assert (outer.headroom.binding.kind, outer.headroom.amps_left) == ("winding", pytest.approx(0.5, abs=0.02))
    assert "no further engine fits on Outer main" in outer.headroom.sentence


def test_engines_of_the_layout_are_counted():
    small = "[[load]]\nname = 'Railcar'\ndistrict = 'Inner main'\nkind = 'locomotive'\nrunning_amps = 0.7\n"
    assert load(1.0, 1.0, more=small).districts[0].headroom.sentence.startswith("8 more 0.7 A engines fit on Outer main")


def test_accessories_are_told_in_amps():
    lamps = DISTRICTS.replace('use = "track"', 'use = "accessories"')
    assert load(3.0, 3.0, lamps).districts[0].headroom.sentence.startswith("4.0 A more fit on Outer main")
    assert load(5.0, 4.9, lamps).districts[0].headroom.sentence.startswith("nothing more fits on Outer main")


def test_where_nothing_limits_nothing_is_said():
    assert headroom([], 14.0).binding is None
    plate = Limit(kind="nameplate", place="North bench", amps=None, va=100.0, words="the plate")
    dark = headroom([(plate, 0.0, 0.0)], None)
    assert (dark.binding, dark.amps_left, dark.va_left) == (plate, None, None)
    lit = headroom([(plate, 2.0, 30.0)], 15.0)
    assert (lit.share, lit.amps_left, lit.va_left) == pytest.approx((0.3, 70 / 15, 70.0))
