"""The commands over recorded sessions, as a person runs them."""

import json
import os
import shutil
from datetime import UTC, datetime, timedelta

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from monitor.cli.main import main
from monitor.sessions import find_sessions
from monitor.sessions.folder import older_than
from monitor.sessions.recorder import Recorder
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT, overload_stream, record

SECONDS = 9.0


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("recordings")
    record(recordings, overload_stream(SECONDS), SECONDS)
    return next(find_sessions(recordings))


def lines_of(capsys, *arguments):
    assert main([*map(str, arguments)]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_sift_takes_a_session_and_its_own_layout(show, capsys):
    lines = lines_of(capsys, "sift", show.path, "--json")
    exact = lines_of(capsys, "sift", show.path, "--json", "--exact")
    assert [line["kind"] for line in lines] == [line["kind"] for line in exact]
    outer, outer_exact = (each[-1]["districts"]["Outer main"] for each in (lines, exact))
    # U I of the sines that were sent, by hand: 15 V x 14 A.
    assert outer["va_max"] == pytest.approx(210, rel=0.03)
    assert outer["amps_mean"] == pytest.approx(outer_exact["amps_mean"], rel=0.01)


def test_sift_by_another_layout_judges_an_old_session_anew(show, tmp_path, capsys):
    """Twice the rating halves the share of it: the plate alone changes, not what was drawn."""
    larger = tmp_path / "larger.toml"
    larger.write_text(LAYOUT_TEXT.replace("rated_va = 180", "rated_va = 360"))
    own = lines_of(capsys, "sift", show.path, "--json")[-1]["supplies"]["North bench"]
    other = lines_of(capsys, "sift", show.path, "--json", "--layout", larger)[-1]["supplies"]["North bench"]
    assert other["va_max"] == own["va_max"]
    assert other["share_of_rating_max"] == pytest.approx(own["share_of_rating_max"] / 2)


def test_replay_runs_to_the_end(show, capsys):
    assert main(["replay", str(show.path), "--speed", "60", "--no-page"]) == 0
    assert "Replaying" in capsys.readouterr().out


def test_sessions_lists_checks_and_recovers(show, capsys, tmp_path):
    recordings = str(show.path.parent)
    assert main(["sessions", "--recordings", recordings]) == 0
    assert str(show.path) in capsys.readouterr().out
    assert main(["sessions", "check", "--recordings", recordings]) == 0
    recorder = Recorder(tmp_path, LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    main(["sessions", "--recordings", str(tmp_path)])
    assert "being recorded" in capsys.readouterr().out
    main(["sessions", "recover", "--recordings", str(tmp_path)])
    assert "in order" in capsys.readouterr().out
    assert recorder.status().state == "recording"
    recorder.close()


def test_old_sessions_go_only_when_asked_and_agreed(tmp_path, capsys):
    now = datetime.now(tz=UTC)
    for age_days in (40, 2):
        Recorder(tmp_path, LAYOUT_TEXT, began_at=now - timedelta(days=age_days), reserve_bytes=0).close()
    assert [session.manifest().began_at < now - timedelta(days=30) for session in older_than(tmp_path, 30, now)] == [True]
    assert main(["sessions", "--recordings", str(tmp_path), "--keep-days", "30"]) == 2
    assert len(list(find_sessions(tmp_path))) == 2
    assert main(["sessions", "--recordings", str(tmp_path), "--keep-days", "30", "--yes"]) == 0
    (left,) = find_sessions(tmp_path)
    assert left.manifest().began_at > now - timedelta(days=30)


def test_names_that_are_not_utf_8_are_names_like_others(show, tmp_path, capsys):
    """POSIX allows any bytes in a name but the slash and zero (Base Definitions, 3.170 filename)."""
    odd = tmp_path / os.fsdecode(b"na\xffme")
    shutil.copytree(show.path, odd)
    readings, page = odd.with_suffix(".parquet"), odd.with_suffix(".html")
    assert main(["sift", str(odd), "--readings", str(readings)]) == 0
    with pa.OSFile(os.fsencode(readings)) as file:
        assert pq.read_table(file).num_rows > 0
    assert main(["report", str(odd), "--out", str(page)]) == 0
    assert "Session na\ufffdme" in page.read_text()
    assert main(["sessions", "check", "--recordings", str(tmp_path)]) == 0
    assert main(["pack", str(odd), str(tmp_path)]) == 0
    assert main(["unpack", str(tmp_path / "na\ufffdme.session.zip"), "--recordings", str(tmp_path / "there")]) == 0
    (odd / os.fsdecode(b"\xff.json")).touch()
    assert main(["pack", str(odd), str(tmp_path / "again")]) == 2
    assert "is called by no UTF-8 text" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["sift", "{folder}"], "not a recorded session"),
        (["replay", "{folder}/none"], "no session folder"),
        (["pack", "{folder}"], "not a recorded session"),
        (["unpack", "{folder}/none.zip"], "no such file"),
        (["sessions", "--recordings", "{folder}/none"], "no such folder"),
    ],
)
def test_what_cannot_be_is_one_plain_line(arguments, words, tmp_path, capsys):
    assert main([argument.format(folder=tmp_path) for argument in arguments]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert len(said.splitlines()) == 1
