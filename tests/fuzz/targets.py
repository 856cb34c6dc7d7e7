"""What is fuzzed: each target takes hostile input and returns where all is well; only a fault of ours raises.

The suite feeds them what Hypothesis makes up, ``python -m tests.bench.fuzz`` what coverage leads to.
"""

import atexit
import contextlib
import functools
import io
import json
import logging
import shutil
import tempfile
from pathlib import Path

import numpy as np

from monitor.cli.sift_session import sift_session
from monitor.errors import LayoutError, MonitorError
from monitor.layout import Board, LineMapping, LineOutput, load_layout
from monitor.link import BoardClock
from monitor.runtime import Pipeline
from monitor.runtime.live import Live
from monitor.sessions import Playback, SessionFolder, find_sessions
from monitor.sessions.csv_export import export_csv
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.pack import damage_of, pack, unpack
from monitor.sessions.recovery import recover
from monitor.sessions.report import report
from monitor.sessions.snapshot_log import Moments
from monitor.values import Chunk, Event
from monitor.wire import LineDecoder, PackedDecoder, WireDecoder
from monitor.wire.inspection import inspect, why_not
from monitor.wire.line_guess import guess_mapping
from tests.browser.hall import Hall
from tests.dashboard.acting import acting_app
from tests.runtime.streams import packed_stream, plain_layout, sine_counts
from tests.sessions.shows import record

SIFTED = ("manifest.json", "layout.toml", "ports.jsonl", "actions.jsonl", "raw", "steps")
"""What of a session is worked through again; all else of it is only shown."""
PASSWD = b"root:"
"""What is in a file outside that everybody knows."""


LINE_BOARDS = [
    Board(name="x", lines=LineMapping(form=form, output=(LineOutput(volts=volts, amps=amps),)))
    for form, volts, amps in (("values", 1, 2), ("pairs", "V", "I"), ("json", "v", "a"))
]


def decode(data):
    """Any bytes through every decoder, and through the whole pipeline as a live watch runs it."""
    for decoder in (PackedDecoder(), LineDecoder(), WireDecoder(), *map(WireDecoder, LINE_BOARDS)):
        decoder.feed(data)
    why_not(inspect(data), "p", 9600, None)
    guess_mapping(inspect(data, lines=20).lines, 200.0)
    layout, now_s = plain_layout(), 0.0
    pipeline = Pipeline(layout, clock_for_board=lambda _board: BoardClock())
    live = Live(layout, lambda: now_s)
    for k in range(0, len(data), 400):
        now_s += 0.05
        live.publish(pipeline.feed("p", Chunk(data=data[k : k + 400], received_s=now_s, reopened=k % 5 == 4)))
        live.picture()
    live.publish(pipeline.finish())
    picture = live.picture()
    assert all(row.age_s is None or row.age_s >= 0 for row in picture.districts)


def read_layout(data):
    """Any bytes as a layout file; one that is taken can be watched."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "layout.toml"
        path.write_bytes(data)
        try:
            layout = load_layout(path)
        except LayoutError as error:
            assert str(error)
            return
    Live(layout, lambda: 0.0).picture()
    Pipeline(layout).feed("p", Chunk(data=packed_stream(sine_counts(0.2))))


@functools.cache
def sessions():
    """Two small sessions, one closed and one as a power cut leaves it."""
    folder = _folder()
    # A train loses its contact for half a second: an event with its samples, and far too much flows: a warning.
    parts = [(1.5, 3.0), (0.5, 0.0), (1.0, 3.0), (1.5, 14.0)]
    counts = np.concatenate([sine_counts(seconds, amps_rms=(amps, 1.0)) for seconds, amps in parts])
    data, marks, lasts_s = packed_stream(counts), [(5, "cleaned rails")], sum(seconds for seconds, _amps in parts)
    record(folder / "closed", data, lasts_s, marks=marks)
    recorder, _steps = record(folder / "open", data, lasts_s, marks=marks, close=False)
    recorder._wake.set()
    recorder._thread.join()
    recorder._write_waiting()
    recorder._writer.sync()
    recorder._writer.abandon()
    return tuple(next(find_sessions(folder / name)).path for name in ("closed", "open"))


def _folder():
    folder = tempfile.mkdtemp(prefix="fuzz-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


def files_of(path):
    return sorted(file.relative_to(path).as_posix() for file in path.rglob("*") if file.is_file())


def read_session(which, name, change):
    """A session of which one file was changed: it is read, put in order and worked through, or refused in plain words.

    Args:
        which: 0 for the closed one, 1 for the one that was cut off.
        name: The file, within the session.
        change: Its bytes in, other bytes or None (gone) out.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "session"
        shutil.copytree(sessions()[which], path)
        hurt = path / name
        changed = change(hurt.read_bytes() if hurt.exists() else b"")
        hurt.parent.mkdir(parents=True, exist_ok=True)
        hurt.unlink(missing_ok=True)
        if changed is not None:
            hurt.write_bytes(changed)
        session = SessionFolder(path)
        works = [_play, report, _table, _moments, lambda s: list(damage_of(s)), recover, _play, report]
        works += [_sift] if name.partition("/")[0] in SIFTED else []
        for work in works:
            with contextlib.suppress(MonitorError), contextlib.redirect_stderr(io.StringIO()):
                work(session)


def _play(session):
    session.manifest()
    list(Playback(session))


def _sift(session):
    sift_session(session.path, None)


def _table(session):
    export_csv(session, session.path / "table.csv")


def _moments(session):
    moments = Moments(session)
    for event in read_notices(session, "events", Event):
        moments.snapshot(event)


@functools.cache
def bundle():
    """A session, packed."""
    path = _folder() / "packed.session.zip"
    return pack(SessionFolder(sessions()[0]), path).read_bytes()


def unpack_bytes(data):
    """Any bytes as a packed session: a whole session comes of it, or nothing at all."""
    with tempfile.TemporaryDirectory() as outside:
        recordings, path = Path(outside) / "in" / "recordings", Path(outside) / "in" / "bundle.zip"
        recordings.mkdir(parents=True)
        path.write_bytes(data)
        try:
            session = unpack(path, recordings)
        except MonitorError as error:
            assert str(error)
            assert list(recordings.iterdir()) == []
        else:
            assert session.path.parent == recordings
            assert list(damage_of(session)) == []
        assert sorted(entry.name for entry in Path(outside).iterdir()) == ["in"]
        assert sorted(entry.name for entry in path.parent.iterdir()) == ["bundle.zip", "recordings"]
        assert not [entry for entry in recordings.rglob("*") if entry.is_symlink()]


@functools.cache
def page():
    """A client of the page over a watch with four districts, and its addresses and callbacks."""
    hall = Hall(4)
    for _ in range(3):
        hall.began -= 0.4
        hall.step()
    app = acting_app(hall)
    logging.getLogger("dashboard.base_app").disabled = True
    client = app.server.test_client()
    return client, sorted({rule.rule for rule in app.server.url_map.iter_rules()}), client.get("/_dash-dependencies").json


def ask(method, path, *, query="", headers=(), body=b""):
    """One request: never an answer that is a fault of the program, never a file from outside."""
    client, _rules, _callbacks = page()
    try:
        answer = client.open(path, method=method, query_string=query, headers=list(headers), data=body)
    except (ValueError, UnicodeError):
        # No HTTP request can be made of this.
        return None
    if path.rstrip("/") == "/feed/stream":
        answer.close()
        return answer.status_code
    said = answer.get_data()
    answer.close()
    assert answer.status_code < 500, (method, path, query, body, said[:300])
    assert b"Traceback" not in said
    assert PASSWD not in said
    return answer.status_code


def call_back(callback, values):
    """One of Dash's callbacks with hostile values for its inputs and states, in their order."""
    inputs = [{**each, "value": value} for each, value in zip(callback["inputs"], values, strict=False)]
    states = [{**each, "value": value} for each, value in zip(callback["state"], values[len(inputs) :], strict=False)]
    body = {
        "output": callback["output"],
        "outputs": _outputs(callback["output"]),
        "inputs": inputs,
        "state": states,
        "changedPropIds": [f"{each['id']}.{each['property']}" for each in inputs[:1]],
    }
    return ask("POST", "/_dash-update-component", headers=[("Content-Type", "application/json")], body=json.dumps(body).encode())


def _outputs(text):
    parts = [part for part in text.strip(".").split("...") if part]
    split = [dict(zip(("id", "property"), part.split("@")[0].rsplit(".", 1), strict=True)) for part in parts]
    return split if text.startswith("..") else split[0]
