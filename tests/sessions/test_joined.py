"""A session worked through in windows says what it says chunk by chunk: the exact way is the reference."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from monitor.cli.sift_session import sift_session
from monitor.runtime.replay import Replay, session_steps
from monitor.runtime.session_near import SessionNear
from monitor.sessions import Playback
from tests.sessions.boards import READING_S, layout_of, line_chunks, packed_chunks, recorded, running, waves

CLOSE_S = 0.012
"""How far apart the times of the two ways may be."""
TICK_S = 0.2
"""What is told by the tick may be told a tick apart where its moment lies at the edge of one."""
PLACES = ("district", "output", "supply", "board", "districts", "supplies")


def said(line):
    """What a line says, and where."""
    return [line.get(name) for name in ("kind", "cause", "rule", "priority", "verdict", "finding", "count", *PLACES)]


def sifted(session, *, exact):
    """Its lines in an order of their own, and the summary."""
    *lines, summary = sift_session(session.path, None, exact=exact).lines()
    return sorted(lines, key=lambda line: (repr(said(line)), line["start_s"])), summary


def assert_same(session, close_s=CLOSE_S, holes=1):
    """The joined way and the exact one agree; gives what they said. Beside each hole a reading more or less stands for it."""
    (exact, figures), (joined, our_figures) = sifted(session, exact=True), sifted(session, exact=False)
    assert [said(line) for line in joined] == [said(line) for line in exact]
    for ours, theirs in zip(joined, exact, strict=True):
        for name in ("start_s", "end_s"):
            assert ours.get(name) == (None if theirs.get(name) is None else pytest.approx(theirs[name], abs=close_s)), theirs
    assert our_figures["duration_s"] == pytest.approx(figures["duration_s"], abs=CLOSE_S)
    for name, district in figures["districts"].items():
        known = {word: figure for word, figure in district.items() if figure is not None}
        ours = {word: figure for word, figure in our_figures["districts"][name].items() if figure is not None}
        assert ours.pop("lost_s") == pytest.approx(known.pop("lost_s"), abs=CLOSE_S if holes == 1 else holes * READING_S)
        if holes == 1 and "energy_wh" in known:
            assert ours["energy_wh"] == pytest.approx(known["energy_wh"], rel=1e-4, abs=2e-4)
        assert ours == pytest.approx(known, rel=1e-3 if holes == 1 else 5e-3, abs=CLOSE_S)
    return exact


@pytest.mark.parametrize("boards", [2, 4])
def test_line_boards_side_by_side(tmp_path, boards):
    """Each with another delay and clock; one draws far too much for a while, two are shorted in the same second."""
    chunks = []
    for board in range(boards):
        volts, amps = running(4, 150.0, seed=board)
        amps[300:420, 0] += 9.0 * (board == 1)
        volts[500:506, 2], amps[500:506, 2] = (0.4, 14.0) if board < 2 else (volts[500:506, 2], amps[500:506, 2])
        chunks += line_chunks(board, volts, amps, seed=board, off_ppm=300 * (board - 1), delay_s=0.008 + 0.03 * board)
    found = assert_same(
        recorded(tmp_path, layout_of(boards), chunks, marks=[(41.0, "Doors open"), (99.0, "Doors shut")], last_s=158.0)
    )
    # Five readings a second show no short and no lost contact for what it is, and a short is no press by hand either: amps flow.
    assert {line["cause"] for line in found if line["kind"] == "event"} == {"throttle"}
    assert {line["rule"] for line in found if line["kind"] == "warning"} >= {"short", "trip-forecast"}
    assert sum(line["kind"] == "event" for line in found) >= 3


def test_a_board_that_is_away_and_a_silence_of_all(tmp_path):
    """One port is lost for half a minute; later nothing comes from anywhere but ticks, and both boards go on."""
    chunks = []
    volts, amps = running(4, 100.0, seed=7)
    for board in range(2):
        mine = list(line_chunks(board, volts, amps, seed=board, delay_s=0.01 + 0.02 * board))
        chunks += [each for each in mine if not 70 < each[1].received_s < 80]
    away = [each for each in chunks if not (each[0] == "/dev/ttyUSB1" and each[1].received_s > 20)]
    back = line_chunks(1, *running(4, 60.0, seed=9), seed=5, stream_s=50.3, reopened=True)
    back = [each for each in back if not 70 < each[1].received_s < 80]
    found = assert_same(recorded(tmp_path, layout_of(2), [*away, *back], last_s=115.0))
    assert any(line["kind"] == "sensor" and line["finding"] == "gap" for line in found)


def test_a_board_that_begins_anew_of_itself(tmp_path):
    """Three times, without any sign but its own figures: in the middle of a window only the pieces tell when that was."""
    chunks = list(line_chunks(0, *running(4, 120.0, seed=1), seed=1))
    for turn, (start_s, seconds) in enumerate(((0.0, 40.0), (41.7, 5.0), (47.1, 3.0), (50.2, 60.0))):
        chunks += line_chunks(1, *running(4, 60.0, seed=2)[:2], seed=turn, stream_s=start_s)
        chunks = [each for each in chunks if each[0] != "/dev/ttyUSB1" or each[1].received_s < start_s + seconds]
    found = assert_same(recorded(tmp_path, layout_of(2), chunks))
    restarts = [line for line in found if line.get("finding") == "restart"]
    assert sum(line["count"] for line in restarts) == 3


def test_lines_that_noise_damaged(tmp_path):
    """One byte in two hundred is hurt on its way from one of the boards: its lines without a checksum are lost, not its time."""
    chunks = [
        list(line_chunks(board, *running(4, 100.0, seed=board), seed=board, delay_s=0.01 + 0.02 * board)) for board in range(2)
    ]
    dice = np.random.default_rng(5)
    for k, (port, chunk) in enumerate(chunks[1]):
        data = bytearray(chunk.data)
        for place in np.flatnonzero(dice.random(len(data)) < 0.005).tolist():
            data[place] = 0xFF
        chunks[1][k] = (port, replace(chunk, data=bytes(data)))
    found = assert_same(recorded(tmp_path, layout_of(2), [*chunks[0], *chunks[1]]), holes=20)
    assert sum(line["count"] for line in found if line.get("finding") == "damaged-bytes") > 50


@pytest.mark.parametrize("boards", [2, 4])
def test_boards_of_waveforms_side_by_side(tmp_path, boards):
    """Packed waveforms, a link's delay of each its own: a lost contact, an overload, a short."""
    calm, usual = (14.0, 13.0, 12.0, 14.0), (2.0, 1.5, 1.0, 0.5)
    chunks = []
    for board in range(boards):
        stalled, heavy, hard = (np.array(usual) for _ in range(3))
        stalled[0], heavy[1], hard[2] = 0.01, 11.0, 14.0
        shorted = (14.0, 13.0, 0.8, 14.0) if board == 1 else calm
        spans = [(6.0 + board / 3, calm, usual), (0.7, calm, stalled), (3.0, calm, usual), (8.0, calm, heavy), (3.0, calm, usual)]
        spans += [(0.5, shorted, hard if board == 1 else usual), (4.0, calm, usual)]
        chunks += packed_chunks(board, waves(spans), seed=board, off_ppm=400 * board, delay_s=0.003 + 0.015 * board)
    found = assert_same(recorded(tmp_path, layout_of(boards), chunks, last_s=26.0), TICK_S + CLOSE_S)
    assert any(line["kind"] == "event" for line in found)
    assert any(line["kind"] == "warning" for line in found)


def two_boards(folder):
    """Half a minute of readings of two boards, one with a draw far over its plate."""
    chunks = []
    for board in range(2):
        volts, amps = running(4, 40.0, seed=board)
        amps[60:160, 0] += 9.0 * (board == 1)
        chunks += line_chunks(board, volts, amps, seed=board, delay_s=0.008 + 0.03 * board)
    return recorded(folder, layout_of(2), chunks)


def last_words(steps, kind):
    """What was said last of each, by its number."""
    return {each.id: each for step in steps for each in getattr(step, kind)}.values()


def test_a_replay_at_high_speed_says_what_it_says_chunk_by_chunk(tmp_path):
    session, collected = two_boards(tmp_path), []
    replay = Replay(session, speed=60.0, sinks=(collected.append,))
    replay.start()
    replay.seek(1e9)
    while replay.status().state != "ended":
        replay.wait(0.05)
    replay.stop()
    exact = list(session_steps(Playback(session), session.layout()))
    assert len(collected) < len(exact) / 3
    for kind, name in (("events", "cause"), ("warnings", "rule")):
        ours, theirs = ([(getattr(each, name), each.start_s) for each in last_words(steps, kind)] for steps in (collected, exact))
        assert len(theirs)
        assert [said for said, _ in sorted(ours)] == [said for said, _ in sorted(theirs)]
        assert [at_s for _, at_s in sorted(ours)] == pytest.approx([at_s for _, at_s in sorted(theirs)], abs=CLOSE_S)
    assert all(before.now_s <= after.now_s for before, after in pairwise(collected))


def test_a_part_seen_from_near_holds_the_readings_of_every_board(tmp_path):
    session = two_boards(tmp_path)
    near = SessionNear(session, session.layout()).cycles(0.0, 40.0)
    for step in session_steps(Playback(session), session.layout()):
        for block in step.readings:
            for column, name in enumerate(block.districts):
                course = near[name].amps
                places = np.searchsorted(course.at_s, block.start_s / 2 + block.end_s / 2 - CLOSE_S)
                assert course.at_s[places] == pytest.approx((block.start_s + block.end_s) / 2, abs=CLOSE_S)
                assert course.values[places] == pytest.approx(block.amps_rms[:, column], rel=1e-6)
