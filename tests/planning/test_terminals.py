"""Source: textbook phasors on one axis: a voltmeter between two terminals of one supply shows the difference of their places."""

import itertools

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.planning.terminals import find_terminals, wiring_card


def distances(places):
    return {frozenset(pair): abs(places[pair[0]] - places[pair[1]]) for pair in itertools.combinations(places, 2)}


def found_for(low, high, max_volts=None):
    return find_terminals(distances(low), distances(high), max_volts=max_volts)


def test_two_throttles_and_a_fixed_tap_on_one_winding():
    found = found_for({"U": 0, "A": 6, "B": 5, "C": 14}, {"U": 0, "A": 18, "B": 17, "C": 14})
    assert (found.common, found.variable, found.fixed) == ("U", ("A", "B"), ("C",))
    pair = next(pair for pair in found.pairs if set(pair.terminals) == {"U", "A"})
    assert (pair.terminals, pair.kind, pair.low_volts, pair.high_volts) == (("U", "A"), "variable", 6, 18)
    fixed_pair = next(pair for pair in found.pairs if set(pair.terminals) == {"U", "C"})
    assert fixed_pair.kind == "constant"


def test_taps_in_anti_phase_around_the_common():
    found = found_for({"U": 0, "A": 0.0, "L": -12}, {"U": 0, "A": 18, "L": -12})
    assert (found.common, found.variable, found.fixed) == ("U", ("A",), ("L",))


def test_a_common_that_differs_by_pairing_is_pointed_out():
    # Two fixed taps 5 V apart: against the second one an accessory sees 9 V instead of 14 V.
    found = found_for({"U": 0, "B": 5, "C": 14, "A": 6}, {"U": 0, "B": 5, "C": 14, "A": 18}, max_volts=18)
    assert found.common == "U"
    assert "B" in found.other_commons
    card = wiring_card(found)
    assert "B can be taken for a common" in card
    assert "A: variable 6.0-18.0 V, to the centre rail" in card
    assert "other rail" in wiring_card(found, rails=2)


def test_nothing_moves():
    found = found_for({"1": 0, "2": 12}, {"1": 0, "2": 12})
    assert (found.common, found.variable) == (None, ())
    assert "constant supply" in wiring_card(found)


def test_a_figure_that_fits_nothing_names_its_pair():
    low = distances({"U": 0, "A": 6, "C": 14})
    low[frozenset(("A", "C"))] = 30.0
    with pytest.raises(LayoutError, match="measure that pair again"):
        find_terminals(low, distances({"U": 0, "A": 18, "C": 14}))


def test_figures_that_fit_two_wirings_are_refused():
    with pytest.raises(LayoutError, match="two ways of wiring"):
        find_terminals(distances({"U": 0, "A": 0, "C": 10}), distances({"U": 0, "A": 20, "C": 10}))


def test_a_missing_pair_is_named():
    low = distances({"U": 0, "A": 6})
    with pytest.raises(LayoutError, match="between A and U at the highest"):
        find_terminals(low, {})


@given(st.floats(0, 8), st.floats(12, 20), st.floats(9, 16), st.floats(-0.2, 0.2))
def test_the_common_is_found_through_meter_errors(low_volts, high_volts, fixed_volts, error):
    # Where the throttle moves A as far above C as it was below, the figures fit A as the common as well.
    assume(abs(abs(fixed_volts - low_volts) - abs(high_volts - fixed_volts)) > 2.5)
    low = distances({"U": 0, "A": low_volts, "C": fixed_volts})
    high = distances({"U": 0, "A": high_volts, "C": fixed_volts})
    low = {pair: max(0.0, volts + error) for pair, volts in low.items()}
    assert find_terminals(low, high).common == "U"
