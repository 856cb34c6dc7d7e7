"""Events, their ids and the patterns do not depend on how the stream was cut into blocks."""

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.values import Cause, Event, ReadingBlock
from tests.diagnosis.benches import Bench, diagnose, layout


@cache
def eventful() -> ReadingBlock:
    bench = Bench(seconds=75)
    bench.load[bench.rows(12, 12.2), 0] = 0
    bench.fed[bench.rows(20, 21), 1] = 0
    bench.extra[bench.rows(30, 34), 3] = 4
    bench.fed[bench.rows(40, 40.5)] = 0.6
    bench.offset[bench.rows(45, 46), 2] = 2
    bench.extra[bench.rows(55, 55.1), 0] = 25
    bench.fed[bench.rows(55.1, 60), :2] = 0
    bench.load[bench.rows(68, 75), 0] = 1.9
    return bench.readings()


@cache
def whole() -> tuple[object, object]:
    return diagnose(eventful(), layout())


@settings(max_examples=12, deadline=None)
@given(st.lists(st.integers(1, 8900), max_size=40))
def test_any_cut_gives_the_same(cuts: list[int]):
    assert diagnose(eventful(), layout(), tuple(cuts)) == whole()


def test_row_by_row_gives_the_same():
    block = eventful()
    assert diagnose(block, layout(), tuple(range(1, len(block), 3))) == whole()


def test_ids_follow_what_is_known_first_where_a_feed_chatters_just_before_a_dip():
    bench = Bench(seconds=15)
    bench.fed[bench.rows(8.27, 8.42), 1] = 0
    bench.fed[bench.rows(8.5, 8.65)] = 0.6
    block = bench.readings()
    events, patterns = diagnose(block, layout())
    assert [(event.id, event.cause) for event in events if event.district == "Inner main"] == [(1, Cause.FEED_LOST)]
    assert diagnose(block, layout(), tuple(range(1, len(block), 3))) == (events, patterns)


def test_causes_of_the_eventful_bench():
    events, _ = whole()
    assert {event.cause.value for event in events} >= {
        "lost-contact",
        "direction-break",
        "supply-sag",
        "mains-dip",
        "dc-signal",
        "short",
        "protection-open",
    }


def test_a_long_sag_does_not_change_when_ticks_are_forgotten_meanwhile(monkeypatch: pytest.MonkeyPatch):
    bench = Bench(seconds=45)
    bench.extra[bench.rows(14, 36), 3] = 4
    block = bench.readings()

    def sags() -> list[Event]:
        events, _ = diagnose(block, layout(), tuple(range(100, len(block), 100)))
        return [event for event in events if event.cause is Cause.SUPPLY_SAG]

    kept = sags()
    monkeypatch.setattr("monitor.facts.ticks.KEPT_TICKS", 120)
    assert {event.district for event in kept} == {"Quarry branch", "Town lights"}
    assert sags() == kept


def test_an_event_is_told_within_a_second_of_its_end():
    from monitor.diagnosis import Diagnosis  # noqa: PLC0415 - fed by hand here alone
    from tests.diagnosis.benches import part  # noqa: PLC0415

    block, diagnosis = eventful(), Diagnosis(layout())
    told: dict[int, float] = {}
    for first in range(0, len(block), 5):
        piece = part(block, first, min(len(block), first + 5))
        now_s = float(piece.end_s[-1])
        for event in diagnosis.feed((), (piece,), now_s)[0]:
            if event.end_s is not None:
                told.setdefault(event.id, now_s - event.end_s)
    assert told
    assert max(told.values()) < 1.0
