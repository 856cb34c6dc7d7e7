import json

import msgspec

from dashboard.views.payload import tick
from monitor.cli.terminal import REPORTED_LIMIT, WAITING_LIMIT, TerminalLines
from monitor.link import HostClock
from monitor.runtime.supervision import PartHealth
from monitor.runtime.trend import Trend
from monitor.standing import assess
from monitor.values import Action, Cause, Chunk, Event, Finding, FindingKind, PortStatus, Priority, Scope, Step
from monitor.values import Warning as RaisedWarning
from tests.standing.moments import LAYOUT, NOW_S, SOUTH, load_of, picture_of, standing


def step(**what):
    return Step(port="p", chunk=Chunk(data=b""), now_s=1.0, **what)


def warning(end_s=None, message="North bench carries 130 % of its plate"):
    return RaisedWarning(
        id=1, rule="over-nameplate", priority=Priority.HIGH, scope=Scope(kind="supply", name="North bench"), start_s=1.0,
        end_s=end_s, trip_in_s=None, message=message, advice="Stop a train.",
    )  # fmt: skip


def said(*steps, lines=None):
    lines = lines or TerminalLines(HostClock())
    for each in steps:
        lines.take(each)
    return [line[10:] for line in lines.waiting()]


def test_a_warning_is_said_once_when_it_rises_and_once_when_it_clears():
    steps = [step(warnings=(warning(),)), step(warnings=(warning(),)), step(warnings=(warning(end_s=4.0),))]
    assert said(*steps) == [
        "ACT NOW: North bench carries 130 % of its plate Stop a train.",
        "over: North bench (act now)",
    ]


def test_a_warning_reads_as_on_the_page_at_that_moment():
    lines = TerminalLines(HostClock())
    picture = picture_of(loads=(load_of(share=1.3, forecast_s=30.5), SOUTH), warnings=(standing(),))
    lines.standing = lambda: assess(LAYOUT, picture)
    (line,) = said(step(warnings=(picture.warnings[0].warning,)), lines=lines)
    page = json.loads(msgspec.json.encode(tick(LAYOUT, picture, Trend(len(LAYOUT.district)).window(NOW_S, 5))))
    assert line == f"ACT NOW: {page['warnings'][0]['message']} {page['warnings'][0]['advice']}"
    assert "opens in about 30 s (15 s to 60 s)" in line


def test_faults_are_said_and_what_people_do_is_not():
    def event(cause, end_s=None):
        return Event(id=cause.value, district="Quarry branch", cause=cause, start_s=1.0, end_s=end_s, confidence=0.9)

    steps = [
        step(events=(event(Cause.SHORT),)),
        step(events=(event(Cause.SHORT, 3.5),)),
        step(events=(event(Cause.THROTTLE, 2.0),)),
    ]
    assert said(*steps) == ["Quarry branch: short circuit", "Quarry branch: short circuit, for 2.5 s"]


def test_findings_are_said_once_and_marks_as_they_are():
    finding = Finding(
        id=3, board="bench-1", channel=None, kind=FindingKind.GAP, start_s=1.0, end_s=1.2, count=9, check="Check the cable."
    )
    mark = Action(kind="mark", at_s=1.0, text="cleaned\nrails")
    assert said(step(findings=(finding,)), step(findings=(finding,), actions=(mark,))) == [
        'gap on board "bench-1": Check the cable.',
        "mark: cleaned rails",
    ]


def test_what_operators_do_about_a_warning_is_said_with_its_end():
    lines = TerminalLines(HostClock())
    acts = (
        Action(kind="acknowledge", at_s=2.0, warning_id=1, by="this machine"),
        Action(kind="shelve", at_s=3.0, warning_id=1, until_s=903.0, by="link 2"),
        Action(kind="mute", at_s=4.0, until_s=304.0, by="link 2"),
    )
    heard = said(step(warnings=(warning(),)), step(actions=acts), lines=lines)[1:]
    aside, quiet = (lines._moment(at_s) for at_s in (903.0, 304.0))
    assert heard == [
        "seen by this machine: North bench (act now)",
        f"put aside until {aside} by link 2: North bench (act now)",
        f"sounds muted until {quiet} by link 2",
    ]


def test_ports_and_parts_are_said_when_they_change():
    lines = TerminalLines(HostClock())
    status = PortStatus(port="p", board=None, state="silent", sentence="p is open.")
    part = PartHealth(name="pipeline", alive=True, failures=1, trouble="ValueError: x")
    for _ in range(3):
        lines.take_ports((status,))
        lines.take_parts((part,), dropped_bytes=700)
    assert said(lines=lines) == [
        "port: p is open.",
        "trouble inside the program: pipeline failed and goes on (ValueError: x)",
        "this computer does not keep up: 700 bytes were dropped so far; close other programs on it",
    ]


def test_a_terminal_that_stands_still_loses_lines_and_says_how_many():
    lines = TerminalLines(HostClock())
    for k in range(WAITING_LIMIT + 5):
        lines.take(step(actions=(Action(kind="mark", at_s=0.0, text=str(k)),)))
    waiting = list(lines.waiting())
    assert len(waiting) == WAITING_LIMIT + 1
    assert waiting[-1].startswith("(5 lines more could not be shown")
    assert list(lines.waiting()) == []


def test_what_was_said_is_not_remembered_for_ever():
    lines = TerminalLines(HostClock())
    for number in range(REPORTED_LIMIT + 500):
        finding = Finding(
            id=number,
            board="bench-1",
            channel=None,
            kind=FindingKind.GAP,
            start_s=1.0,
            end_s=1.0,
            count=1,
            check="Check the cable.",
        )
        lines.take(step(findings=(finding, finding)))
        assert len(list(lines.waiting())) == 1
    assert len(lines._findings) == REPORTED_LIMIT
