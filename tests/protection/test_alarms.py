"""Alarm management against the figures of ISA-18.2 / IEC 62682."""

import itertools

import pytest

from monitor.protection.alarms import Alarms, Said
from monitor.values import Action, Priority, Scope

HERE = ("over-nameplate", Scope(kind="supply", name="North bench"))
THERE = ("short", Scope(kind="district", name="Quarry branch"))
SAID = Said(message="Too much is drawn.", advice="Stop a train.")


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
    assert "11 warnings" in summary.message
    (over,) = [w for w in alarms.tick(2000.0) if w.rule == "flood"]
    # With the summary twelve rose; the fifth from the last at 70 s, which counts for ten minutes.
    assert over.end_s == 670.0
