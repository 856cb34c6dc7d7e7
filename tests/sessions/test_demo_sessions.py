"""Invented sessions: those that come with the program are whole and say what they are; the command makes them again."""

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from monitor.cli.demo_sessions import READINGS, SHOWS, DemoShow, make_demo_sessions
from monitor.cli.main import main
from monitor.sessions import SessionFolder
from monitor.sessions.figures import review
from monitor.sessions.folder import folder_name
from monitor.sessions.pack import damage_of
from monitor.values import Cause

RECORDINGS = Path(__file__).parents[2] / "recordings"
SHIPPED = [SessionFolder(RECORDINGS / folder_name("Fernhollow show layout", show.began_at)) for show in SHOWS]
SHORT = (
    DemoShow(began_at=dt.datetime(2026, 5, 1, tzinfo=dt.UTC), seed=1, seconds=2.0, marks=((1.0, "Doors open"),)),
    DemoShow(began_at=dt.datetime(2026, 5, 2, tzinfo=dt.UTC), seed=2, seconds=3.0, lines=READINGS),
)


@pytest.mark.parametrize("session", SHIPPED, ids=lambda session: session.name)
def test_those_that_come_along_are_whole_small_and_marked(session):
    assert session.manifest().invented
    assert list(damage_of(session)) == []
    assert sum(path.stat().st_size for path in session.path.rglob("*") if path.is_file()) < 700_000


def test_they_hold_something_to_review():
    causes = {event.cause for session in SHIPPED for event in review(session).events}
    assert {Cause.LOST_CONTACT, Cause.PROTECTION_OPEN, Cause.SUPPLY_SAG, Cause.DIRECTION_BREAK} <= causes


def test_they_can_be_made_anew_but_never_overwrite(tmp_path, capsys):
    made = [review(session) for session in make_demo_sessions(tmp_path, SHORT)]
    assert [each.invented for each in made] == [True, True]
    assert [each.duration_s for each in made] == [pytest.approx(2, abs=0.5), pytest.approx(3, abs=0.5)]
    assert [mark.text for mark in made[0].marks] == ["Doors open"]
    assert all(len(each.districts) == 4 and all(d.volts is not None for d in each.districts) for each in made)
    assert main(["sessions", "demo", "--recordings", str(RECORDINGS)]) == 2
    assert "is there already" in capsys.readouterr().err


def test_the_same_again_every_time(tmp_path):
    first, second = (next(iter(make_demo_sessions(tmp_path / name, SHORT[:1]))) for name in "ab")
    for path in [*sorted(first.raw.iterdir()), first.notices("events")]:
        again = second.path / path.relative_to(first.path)
        assert path.exists() == again.exists()
        assert not path.exists() or path.read_bytes() == again.read_bytes()


def test_the_readme_opens_readings_in_one_line(monkeypatch):
    """The very line of the README, on a session that comes along."""
    text = (RECORDINGS.parent / "README.md").read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if line.startswith("pandas.read_parquet("))
    monkeypatch.chdir(RECORDINGS.parent)
    frame = eval(line.replace("SESSION", SHIPPED[0].name), {"pandas": pd})  # noqa: S307 - the README's own line
    assert set(frame.district) == {"Outer main", "Inner main", "Quarry branch", "Town lights"}
    assert {"time", "volts_rms", "amps_rms", "watts", "volt_amperes"} <= set(frame.columns)
    assert len(frame) == pytest.approx(4 * 66 * 5, rel=0.02)
