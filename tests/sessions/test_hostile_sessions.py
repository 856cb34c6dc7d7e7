"""Session folders that were damaged or made to do harm: shown as bad, put in order from the raw bytes, and never in the way of others.

The tricks are those of CWE-20 (improper validation), CWE-409 (data amplification), CWE-59 (links) and CWE-674 (deep recursion).
"""

import json
import lzma
import stat

import msgspec
import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest

from dashboard.session_cache import SessionCache
from monitor.cli.main import main
from monitor.errors import SessionDamagedError, SessionError
from monitor.sessions import Playback, find_sessions
from monitor.sessions.folder import CLOSING, MANIFEST, damaged_sessions
from monitor.sessions.notice_rows import read_rows
from monitor.sessions.pack import damage_of, pack
from monitor.sessions.readings_log import load_readings
from monitor.sessions.recovery import recover_all
from monitor.sessions.xz_log import GROWTH_FREE_BYTES, GROWTH_LIMIT, read_part
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import record

SECONDS = 3.0
ODD_MANIFESTS = [
    b"{",
    b"",
    b"[" * 200_000,
    b'{"a":' * 200_000,
    b'{"format": 1, "title": "x", "began_at": "2026-05-01T10:00:00"}',
    b'{"format": 1, "title": "x", "began_at": "9999-05-01T10:00:00Z"}',
    b'{"format": 1, "title": "x", "began_at": "2026-05-01T10:00:00Z", "first_s": 1e300}',
    b'{"format": 1, "title": "x", "began_at": "2026-05-01T10:00:00Z", "first_s": -1}',
    b'{"format": -1, "title": "x", "began_at": "2026-05-01T10:00:00Z"}',
    b"\xff\xfe{}",
]


@pytest.fixture
def recordings(tmp_path):
    """Two sessions: the first one, by name, is there to be damaged."""
    for _ in range(2):
        record(tmp_path / "recordings", packed_stream(sine_counts(SECONDS)), SECONDS)
    return tmp_path / "recordings"


@pytest.fixture
def bad(recordings):
    return min(find_sessions(recordings), key=lambda session: session.name)


@pytest.mark.parametrize("text", ODD_MANIFESTS, ids=lambda text: repr(text[:60]))
def test_an_odd_manifest_is_shown_as_bad_and_the_other_session_works(recordings, bad, text, capsys):
    (bad.path / MANIFEST).write_bytes(text)
    assert main(["sessions", "--recordings", str(recordings)]) == 0
    out = capsys.readouterr().out
    assert f"damaged: {bad.path}" in out
    assert main(["sessions", "check", "--recordings", str(recordings)]) == 1
    assert str(bad.path) in capsys.readouterr().out
    cache = SessionCache(recordings)
    (good,) = cache.listing()
    assert cache.open(good).figures.duration_s == pytest.approx(SECONDS, abs=0.3)


@pytest.mark.parametrize("closed", [True, False])
def test_a_damaged_manifest_is_made_again_from_the_raw_bytes(recordings, bad, closed, capsys):
    before = bad.manifest()
    raw = b"".join(played.chunk.data for played in Playback(bad))
    (bad.path / MANIFEST).write_bytes(b"{")
    if not closed:
        (bad.path / CLOSING).unlink()
    assert main(["sessions", "recover", "--recordings", str(recordings)]) == 0
    assert f"{MANIFEST} was damaged and was made again" in capsys.readouterr().out
    after = bad.manifest()
    assert (after.title, after.first_s) == (before.title, before.first_s)
    assert abs((after.began_at - before.began_at).total_seconds()) < 1
    assert b"".join(played.chunk.data for played in Playback(bad)) == raw
    assert list(damage_of(bad)) == []


def test_a_newer_form_is_left_alone(recordings, bad):
    text = b'{"format": 2, "title": "x", "began_at": "2030-05-01T10:00:00Z"}'
    (bad.path / MANIFEST).write_bytes(text)
    assert recover_all(recordings) == []
    assert main(["sessions", "recover", "--recordings", str(recordings)]) == 1
    assert (bad.path / MANIFEST).read_bytes() == text
    assert [session.name for session, _ in damaged_sessions(recordings)] == [bad.name]


@pytest.mark.parametrize("field", ["ended_s", "steps"])
def test_a_closing_row_beyond_all_sense_counts_as_none(bad, field):
    closing = json.loads((bad.path / CLOSING).read_text())
    (bad.path / CLOSING).write_text(json.dumps({**closing, field: 1e300}))
    assert bad.closing() is None


@pytest.mark.parametrize(
    "line", [b'{"at_s": 1e300}', b'{"a": ' + b"[" * 100_000, b'{"evidence": {"end_s": -1e12}}', b'{"amps_rms": 1e40}'], ids=len
)
def test_rows_of_impossible_times_and_figures_are_counted_as_bad(tmp_path, line):
    path = tmp_path / "events.jsonl"
    path.write_bytes(b'{"at_s": 1.5, "fault": true}\n' + line + b"\n")
    assert read_rows(path) == ([{"at_s": 1.5, "fault": True}], 1)


def test_compressed_bombs_are_read_no_further_than_a_part_can_grow(tmp_path):
    path = tmp_path / "steps-0001.csv.xz"
    path.write_bytes(lzma.compress(bytes(200_000_000)))
    pieces, damage = read_part(path)
    assert sum(map(len, pieces)) <= GROWTH_FREE_BYTES + GROWTH_LIMIT * path.stat().st_size
    assert "out of all measure" in damage[0]


def test_a_table_of_too_many_rows_is_refused_before_it_is_read(bad):
    (part,) = bad.readings.glob("*.parquet")
    schema = pa.parquet.read_schema(part)
    rows = 2_000_000
    columns = [
        pa.DictionaryArray.from_arrays(np.zeros(rows, np.int16), pa.array(["Outer main"]))
        if pa.types.is_dictionary(field.type)
        else pa.array(np.zeros(rows)).cast(field.type)
        if not pa.types.is_timestamp(field.type)
        else pa.array(np.zeros(rows, np.int64), field.type)
        for field in schema
    ]
    pa.parquet.write_table(pa.table(columns, schema=schema), part, compression="zstd")
    with pytest.raises(SessionDamagedError, match="more than a part of a session can"):
        load_readings(bad, ("volts_rms",))


def test_nothing_that_was_not_recorded_passes_for_recorded(bad, tmp_path, capsys):
    (bad.path / "readings" / "more.parquet").write_bytes(b"x")
    assert list(damage_of(bad)) == ["readings/more.parquet was not recorded: no checksum covers it"]
    for action in ("check", "recover"):  # nothing can be recovered here, and nothing is said to be in order
        assert main(["sessions", action, "--recordings", str(bad.path.parent)]) == 1
        out = capsys.readouterr().out
        assert f"{bad.path}: readings/more.parquet was not recorded" in out
        assert "is in order" not in out
    (bad.path / "readings" / "more.parquet").unlink()
    (bad.path / "more.json").symlink_to("/etc/hostname")
    with pytest.raises(SessionError, match="is a link to somewhere else"):
        pack(bad, tmp_path)
    assert list(tmp_path.glob("*.zip*")) == []


def test_what_is_not_there_any_more_is_said_wherever_the_session_is_used(bad, tmp_path, capsys):
    readings, raw = "readings/readings-0001.parquet", "raw/port-1-0001.wire.xz"
    closing = bad.closing()
    odd = {**closing.files, "x" * 5000: closing.files[raw]}
    (bad.path / CLOSING).write_bytes(msgspec.json.encode(msgspec.structs.replace(closing, files=odd)))
    assert bad.missing() == (f"{'x' * 5000} is missing",)
    (bad.path / CLOSING).write_bytes(msgspec.json.encode(closing))
    (bad.path / readings).unlink()
    assert main(["report", str(bad.path), "--out", str(tmp_path / "page.html")]) == 0
    assert f"{readings} is missing" in (tmp_path / "page.html").read_text()
    assert main(["pack", str(bad.path), str(tmp_path)]) == 2
    assert f"{readings} is missing" in capsys.readouterr().err
    assert list(tmp_path.glob("*.zip*")) == []
    (bad.path / raw).unlink()
    assert main(["replay", str(bad.path), "--speed", "60", "--no-page"]) == 0
    assert f"{raw} is missing; played what is left" in capsys.readouterr().err


def test_recordings_are_their_owners_alone(bad):
    assert stat.S_IMODE(bad.path.stat().st_mode) == 0o700
