"""Alarm management against the figures of ISA-18.2 / IEC 62682."""

import itertools

import pytest

from monitor.protection.alarms import Alarms, Wording
from monitor.values import Action, Priority, Scope

HERE = ("over-nameplate", Scope(kind="supply", name="North bench"))
THERE = ("short", Scope(kind="district", name="Quarry branch"))
SAID = Wording(message="Too much is drawn.", advice="Stop a train.")


@pytest.fixture
def alarms():
    return Alarms(itertools.count(1))


def test_a_rise_in_priority_ends_the_old_and_is_a_new_one(alarms):
    (first,) = alarms.raise_(1.0, HERE, Priority.MEDIUM, SAID, "North bench")
    ended, second = alarms.raise_(4.0, HERE, Priority.HIGH, SAID, "North bench")
    assert (ended.id, ended.end_s, second.priority) == (first.id, 4.0, Priority.HIGH)
    assert second.id > first.id


def test_what_stands_is_not_told_twice(alarms):
    alarms.raise_(1.0, HERE, Priority.HIGH, SAID, "North bench")
    assert alarms.raise_(2.0, HERE, Priority.HIGH, SAID, "North bench") == []


def test_first_out_is_the_first_of_its_supply(alarms):
    (first,) = alarms.raise_(1.0, HERE, Priority.MEDIUM, SAID, "North bench")
    (second,) = alarms.raise_(2.0, THERE, Priority.HIGH, SAID, "North bench")
    assert (first.first_out, second.first_out) == (True, False)


def test_three_in_a_minute_chatter_and_then_stand_until_quiet(alarms):
    said = []
    for at_s in (0.0, 10.0, 20.0):
        said += alarms.raise_(at_s, HERE, Priority.MEDIUM, SAID, "North bench")
        cleared = alarms.clear(at_s + 5, HERE, "North bench")
    assert [each.comes_and_goes for each in said] == [False, False, True]
    assert cleared == []
    assert alarms.clear(30.0, HERE, "North bench") == []
    (ended,) = alarms.clear(46.0, HERE, "North bench")
    assert ended.end_s == 46.0


def test_an_unacknowledged_alarm_that_returned_can_be_acknowledged_later(alarms):
    (told,) = alarms.raise_(1.0, HERE, Priority.HIGH, SAID, "North bench")
    (ended,) = alarms.clear(3.0, HERE, "North bench")
    assert ended.state == "returned"
    (seen,) = alarms.operate(Action(kind="acknowledge", at_s=5.0, warning_id=told.id))
    assert (seen.state, seen.end_s) == ("normal", 3.0)


def test_shelving_ends_by_itself_and_does_not_hide_a_rise(alarms):
    (told,) = alarms.raise_(1.0, HERE, Priority.MEDIUM, SAID, "North bench")
    alarms.operate(Action(kind="shelve", at_s=2.0, warning_id=told.id, until_s=9e9))
    assert alarms.standing(*HERE).shelved_until_s == 2.0 + 3600
    risen = alarms.raise_(3.0, HERE, Priority.HIGH, SAID, "North bench")[-1]
    assert risen.shelved_until_s is None
    fallen = alarms.raise_(4.0, HERE, Priority.MEDIUM, SAID, "North bench")[-1]
    assert fallen.shelved_until_s == 2.0 + 3600
    (back,) = alarms.tick(3700.0)
    assert (back.id, back.shelved_until_s) == (fallen.id, None)


def test_more_than_ten_in_ten_minutes_is_a_flood_summarised_once(alarms):
    """Starts above 10 in 10 min, ends under 5 (ISA-18.2; the end from memory)."""
    told = []
    for k in range(14):
        key = ("near-limit", Scope(kind="district", name=f"District {k}"))
        told += alarms.raise_(10.0 * k, key, Priority.LOW, SAID, "North bench")
    assert [w.rule for w in told].count("near-limit") == 11
    (summary,) = [w for w in told if w.rule == "flood"]
    assert summary.message.startswith("11 warnings in ten minutes; the first was about District 0")
    assert alarms.tick(669.9) == []
    (over,) = [w for w in alarms.tick(670.0) if w.rule == "flood"]
    # With the summary twelve rose; the fifth from the last at 70 s, which counts for ten minutes.
    assert over.end_s == 670.0


def low(k):
    return ("near-limit", Scope(kind="district", name=f"District {k}"))


def flooded(alarms):
    """Eleven low warnings in as many seconds."""
    for k in range(11):
        alarms.raise_(float(k), low(k), Priority.LOW, SAID, "North bench")


def test_a_flood_holds_until_fewer_than_five_rose_lately(alarms):
    """Between five and ten a flood that stands goes on, and one that does not stand does not begin."""
    flooded(alarms)
    assert alarms.raise_(100.0, low(50), Priority.LOW, SAID, "North bench") == []
    # At 604.5 s seven of the twelve that rose (0 to 10 s, and the summary) are younger than ten minutes.
    assert alarms.raise_(604.5, low(51), Priority.LOW, SAID, "North bench") == []
    # At 609.5 s two are: it is over.
    told = alarms.raise_(609.5, low(52), Priority.LOW, SAID, "North bench")
    assert [(w.rule, w.end_s is None) for w in told] == [("flood", False), ("near-limit", True)]


def test_eight_in_ten_minutes_are_no_flood(alarms):
    told = [w for k in range(8) for w in alarms.raise_(10.0 * k, low(k), Priority.LOW, SAID, "North bench")]
    assert [w.rule for w in told] == ["near-limit"] * 8


def test_a_flood_holds_back_low_ones_only(alarms):
    flooded(alarms)
    assert [w.rule for w in alarms.raise_(20.0, HERE, Priority.MEDIUM, SAID, "North bench")] == ["over-nameplate"]
    assert [w.rule for w in alarms.raise_(21.0, THERE, Priority.HIGH, SAID, "North bench")] == ["short"]


def test_unshelving_and_what_nobody_knows(alarms):
    (told,) = alarms.raise_(1.0, HERE, Priority.MEDIUM, SAID, "North bench")
    alarms.operate(Action(kind="shelve", at_s=2.0, warning_id=told.id, until_s=30.0))
    (back,) = alarms.operate(Action(kind="unshelve", at_s=3.0, warning_id=told.id))
    assert back.shelved_until_s is None
    assert alarms.tick(31.0) == []
    assert alarms.operate(Action(kind="acknowledge", at_s=4.0, warning_id=99)) == []


def test_clearing_at_once_forgets_chatter(alarms):
    for at_s in (0.0, 10.0, 20.0):
        alarms.raise_(at_s, HERE, Priority.MEDIUM, SAID, "North bench")
        (ended,) = alarms.clear(at_s + 5, HERE, "North bench", at_once=True)
        assert ended.end_s == at_s + 5
    (again,) = alarms.raise_(30.0, HERE, Priority.MEDIUM, SAID, "North bench")
    assert not again.comes_and_goes


def test_three_rises_in_more_than_a_minute_do_not_chatter(alarms):
    for at_s in (0.0, 31.0, 62.0):
        (told,) = alarms.raise_(at_s, HERE, Priority.MEDIUM, SAID, "North bench")
        assert not told.comes_and_goes
        assert len(alarms.clear(at_s + 5, HERE, "North bench")) == 1
