"""The book's verdicts, where the places have judged."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.diagnosis.occurrences import Occurrence
from monitor.diagnosis.pattern_book import PatternBook
from monitor.diagnosis.places import KINDS
from monitor.diagnosis.spot_search import Spot
from monitor.facts.circuits import Circuits
from monitor.facts.ticks import Ticks
from monitor.values import Cause
from tests.diagnosis.benches import layout

NOWHERE = Spot(
    events=12, is_fixed=False, p_value=1.0, lap_s=None, power=0, fraction=0.0, spread=0.5, there=0, latest=0, phases=()
)
BRIDGED = replace(NOWHERE, is_fixed=True, p_value=1e-4, lap_s=20.0, fraction=0.3, spread=0.04, there=9, latest=10)


def verdicts(spot: Spot, kind: int = 0, contacts: int = 12) -> list[str]:
    plan = layout()
    circuits = Circuits.from_layout(plan)
    book = PatternBook(plan, circuits, Ticks(circuits))
    book._places[0].contacts = contacts
    book._places[0].spots = lambda _history: (spot, KINDS[kind])  # type: ignore[method-assign]
    return [pattern.verdict for pattern in book._verdicts([0], {0: None})]  # type: ignore[dict-item]


@pytest.mark.parametrize(("p_value", "expected"), [(1.0, ["scattered"]), (0.3, []), (0.03, [])])
def test_where_events_speak_neither_way_nothing_is_said(p_value: float, expected: list[str]):
    assert verdicts(replace(NOWHERE, p_value=p_value)) == expected


def test_few_events_are_not_called_scattered():
    assert verdicts(NOWHERE, contacts=7) == []
    assert verdicts(NOWHERE, contacts=8) == ["scattered"]


def test_shorts_at_one_place_count_though_no_contact_was_lost():
    assert verdicts(BRIDGED, kind=3, contacts=0) == ["fixed-spot"]
    assert verdicts(NOWHERE, kind=3, contacts=0) == []


def test_an_event_told_again_is_one_event():
    plan = layout()
    circuits = Circuits.from_layout(plan)
    book = PatternBook(plan, circuits, Ticks(circuits))
    lost = Occurrence(district=0, cause=Cause.LOST_CONTACT, start_s=5.0, end_s=5.2, first_tick=53)
    book.note(lost)
    book.note(lost)
    assert len(book._fresh) == 1
    assert np.isinf(book._places[0].first_s)
