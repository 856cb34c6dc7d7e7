"""What a session says when it is played again is what was said when it was live."""

import time

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.runtime.replay import Replay, session_pipeline, session_steps
from monitor.sessions import Playback, find_sessions
from monitor.sessions.merging import merged
from tests.sessions.shows import LAYOUT_TEXT, overload_stream, record

SECONDS = 12.0
SPOKEN = ("events", "warnings", "findings", "disturbances", "patterns", "phasings", "actions")


@pytest.fixture(scope="module")
def show(tmp_path_factory):
    recordings = tmp_path_factory.mktemp("recordings")
    pipeline = session_pipeline(parse_layout(LAYOUT_TEXT))
    _recorder, steps = record(recordings, overload_stream(SECONDS), SECONDS, pipeline=pipeline, marks=[(200, "cleaned rails")])
    (session,) = find_sessions(recordings)
    return session, steps


def said(steps, kind):
    return [value for step in steps for value in getattr(step, kind)]


def joined(steps, name):
    return np.concatenate([getattr(block, name) for step in steps for block in step.readings])


def test_chunk_by_chunk_it_is_the_same_to_the_last_digit(show):
    session, live = show
    again = list(session_steps(Playback(session), session.layout()))
    for kind in SPOKEN:
        assert said(again, kind) == said(live, kind)
    assert said(live, "actions")
    for name in ("end_s", "volts_rms", "amps_rms", "watts"):
        np.testing.assert_array_equal(joined(again, name), joined(live, name))


def test_joined_chunks_say_the_same_but_for_milliseconds(show):
    session, live = show
    again = list(session_steps(merged(Playback(session), 0.5), session.layout()))
    assert len(again) < len(live) / 5
    assert len(joined(again, "end_s")) == len(joined(live, "end_s"))
    np.testing.assert_allclose(joined(again, "end_s"), joined(live, "end_s"), atol=0.005)
    np.testing.assert_allclose(joined(again, "amps_rms"), joined(live, "amps_rms"), atol=0.05)


def played_to_the_end(replay, collected):
    replay.start()
    replay.seek(1e9)
    while replay.status().state != "ended":
        replay._changed.acquire()
        replay._changed.wait(0.05)
        replay._changed.release()
    replay.stop()
    return collected


def test_the_replay_engine_says_the_same(show):
    session, live = show
    collected = []
    replay = Replay(session, sinks=(collected.append,))
    played_to_the_end(replay, collected)
    for kind in SPOKEN:
        assert said(collected, kind) == said(live, kind)
    assert replay.live.picture().districts[0].amps_rms == pytest.approx(3.0, abs=0.2)


def test_a_leap_into_the_middle_knows_the_heat_of_what_was_before(show):
    """Eight of twelve seconds in, four of them far over the plate: the protection is as warm as it was live."""
    session, live = show
    replay = Replay(session)
    replay.pause()
    replay.start()
    replay.seek(8.0)
    ends_s = time.monotonic() + 120
    while replay.status().state != "paused" or replay.status().at_s < 8.0:
        assert time.monotonic() < ends_s, "the leap did not arrive"
        replay.wait(0.05)
    (there,) = [load for load in replay.live.picture().loads if load.name == "North bench"]
    replay.stop()
    (then,) = [load for step in live for load in step.loads if load.name == "North bench" and load.at_s == there.at_s]
    assert (there.heat, there.heat_lowest, there.heat_highest) == (then.heat, then.heat_lowest, then.heat_highest)
    before = next(load for step in live for load in step.loads if load.name == "North bench" and load.at_s > 3.5)
    assert there.heat_lowest > before.heat_lowest
