"""Everything that goes wrong in a hall, on the whole program over ptys, one evening long.

The tests share one program and come in the order of the evening. All the while a witness looks at the page: whatever happens, no
figure may look younger than its board's silence, no live figure may be wrong, and nothing old may look live.
"""

# ruff: noqa: S311 - moments that are known, not secret

import random
import resource
import shutil
import signal
import threading
import time

import psutil
import pytest

from monitor.sessions import Playback, find_sessions
from tests.faults.evening import Evening, mute_viewer, recorded_scans, until
from tests.faults.program import SUSPENDED_S

REPLUGS = 50
PAGES = 50
GROWTH_LIMIT_BYTES = 60_000_000
PTY_SCANS = 1600
"""Two buffers of a pty, 4 and 8 kB, hold so many scans of four channels at most."""


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    made = Evening(tmp_path_factory.mktemp("evening"))
    try:
        made.start()
        made.open_page()
        made.viewer = mute_viewer(made.port)
        made.until_live(0, 1)
        yield made
        made.viewer.close()
    finally:
        made.put_away()


@pytest.fixture(scope="module")
def replugging(evening):
    """The second board's plug is pulled and put back again and again while the first has other troubles."""
    done, trouble = [], []

    def replug():
        try:
            for _ in range(REPLUGS):
                evening.boards[1].unplug()
                evening.boards[1].plug_in()
                before = evening.boards[1].intact_scans
                until(lambda before=before: evening.boards[1].intact_scans > before)
                done.append(len(evening.process.threads()))
        except Exception as error:  # noqa: BLE001 - told by the test that waits for the end
            trouble.append(error)

    thread = threading.Thread(target=replug, daemon=True)
    thread.start()
    return thread, done, trouble


def recording(evening):
    return evening.payload()["recording"]


def word_of(evening, board):
    return evening.payload()["ports"][board]["word"]


def findings(evening, what, where):
    return [row for row in evening.payload()["findings"] if (row["what"], row["where"]) == (what, where)]


def test_the_recordings_folder_is_removed_and_a_new_session_begins(evening):
    shutil.rmtree(evening.recordings)
    until(lambda: any(session.manifest().continues for session in find_sessions(evening.recordings)))
    until(lambda: recording(evening)["well"])
    evening.counted_from = [board.intact_scans for board in evening.boards]
    evening.until_live(0, 1)


def test_noise_on_one_byte_in_a_hundred_makes_gaps_and_never_a_wrong_figure(evening, replugging):
    evening.boards[0].noise(0.01)
    until(lambda: findings(evening, "damaged bytes", "bench-1"))
    time.sleep(1.0)
    evening.boards[0].noise(0.0)
    evening.until_live(0)


def test_a_brown_out_loop_is_told_and_survived(evening, replugging):
    board = evening.boards[0]
    for _ in range(6):
        board.restart(0.1)
        before = board.intact_scans
        until(lambda before=before: board.intact_scans > before + 60)
    until(lambda: findings(evening, "brown out", "bench-1"))
    evening.until_live(0)


def test_a_flood_of_noise_or_of_one_packet_stops_nothing(evening, replugging):
    board = evening.boards[0]
    board.flood(0.7)
    evening.until_live(0)
    board.flood(0.7, what=board.packet_again() * 40)
    evening.until_live(0)


def test_silence_is_told_while_the_figures_grow_old(evening, replugging):
    evening.boards[0].be_silent(4.0)
    until(lambda: all(row["level"] == "stale" for row in evening.districts(0)))
    until(lambda: word_of(evening, 0) == "silent")
    evening.until_live(0)
    until(lambda: evening.payload()["ports"][0]["well"])


def test_a_wrong_baud_rate_is_found_out_and_the_right_one_named(evening, replugging):
    evening.until_said("It sends at 500000 baud although the layout file says 115200: write baud = 500000 there")
    evening.until_live(2)


def test_the_page_opened_fifty_times(evening, replugging):
    evening.get("/")
    before = evening.process.memory_info().rss
    for _ in range(PAGES):
        assert b"Fernhollow" in evening.get("/")
        assert evening.get("/feed/window")
        mute_viewer(evening.port).close()
    evening.until_live(0)
    assert evening.process.memory_info().rss - before < GROWTH_LIMIT_BYTES


def test_a_board_unplugged_and_replugged_fifty_times(evening, replugging):
    thread, done, trouble = replugging
    thread.join(300)
    assert (len(done), trouble) == (REPLUGS, [])
    evening.until_live(0, 1)
    # As many threads as there were: one reader a port, however often it was opened.
    assert len(evening.process.threads()) <= done[0]


def test_two_boards_swapped_keep_their_districts(evening):
    one, two = evening.boards[:2]
    for _ in range(2):
        said = len(evening.lines)
        one.unplug(drained=True)
        two.unplug(drained=True)
        one.link, two.link = two.link, one.link
        one.plug_in()
        two.plug_in()
        evening.until_said(f'"bench-1" on {one.link}', said)
        evening.until_said(f'"bench-2" on {two.link}', said)
        evening.until_live(0, 1)
    assert any("the plugs seem swapped, but no harm is done" in line for line in evening.lines)


def test_a_host_suspended_for_a_minute_shows_old_figures_as_old(evening):
    before_s = evening.payload()["now_s"]
    evening.program.send_signal(signal.SIGUSR1)
    until(lambda: evening.process.status() == psutil.STATUS_STOPPED)
    for board in evening.boards:
        board.skip(SUSPENDED_S)
    time.sleep(0.5)
    evening.process.resume()
    until(lambda: evening.payload()["now_s"] > before_s + SUSPENDED_S)
    until(lambda: findings(evening, "gap", "bench-1"))
    evening.until_live(0, 1, 2)


def test_a_clock_set_back_by_an_hour_moves_nothing(evening):
    before_s = evening.payload()["now_s"]
    evening.program.send_signal(signal.SIGUSR2)
    evening.until_said("set back")
    until(lambda: evening.payload()["now_s"] > before_s + 1.0)
    evening.until_live(0, 1, 2)
    assert recording(evening)["well"]


def test_a_full_disk_is_told_and_costs_nothing_when_there_is_room_again(evening):
    limits = resource.prlimit(evening.program.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(evening.program.pid, resource.RLIMIT_FSIZE, (0, limits[1]))
    until(lambda: not recording(evening)["well"])
    evening.until_live(0, 1, 2)
    resource.prlimit(evening.program.pid, resource.RLIMIT_FSIZE, limits)
    until(lambda: recording(evening)["well"])


def test_at_the_end_nothing_was_wrong_and_everything_is_kept(evening):
    for board in evening.boards:
        board.stop()
    # What is in the pipeline still has to come out at the other end.
    until(lambda: all(row["age_s"] > 1.0 for board in range(3) for row in evening.districts(board)))
    assert evening.end() == 0
    assert evening.lies == []
    assert evening.looks > 0
    assert "Traceback" not in "".join(evening.lines)
    kept = recorded_scans(evening.recordings)
    sent = [board.intact_scans - before for board, before in zip(evening.boards, evening.counted_from, strict=True)]
    assert kept[0] >= sent[0]
    # Its plug pulled in the middle of a word fifty times, the second board lost what stood in its pty each time, and no more.
    assert kept[1] >= sent[1] - (REPLUGS + 1) * PTY_SCANS


def test_killed_at_any_moment_it_keeps_what_it_had_and_the_next_start_puts_it_in_order(tmp_path):
    evening, dice, on_disk, kills = Evening(tmp_path), random.Random(8), {}, 2
    try:
        for _ in range(kills):
            evening.start("--no-page")
            own = until(lambda: next((s for s in find_sessions(evening.recordings) if s.name not in on_disk), None))
            until(lambda own=own: raw_bytes(own))
            time.sleep(dice.random())
            on_disk[own.name] = raw_bytes(own)
            assert evening.end(signal.SIGKILL) == -signal.SIGKILL
        evening.start("--no-page")
        until(lambda: sum(session.closing() is not None for session in find_sessions(evening.recordings)) == kills)
        for board in evening.boards:
            board.stop()
        assert evening.end() == 0
        sessions = list(find_sessions(evening.recordings))
        assert sorted(session.closing().recovered for session in sessions) == [False] + [True] * kills
        for session in sessions:
            assert sum(len(played.chunk.data) for played in Playback(session)) >= on_disk.get(session.name, 1)
        assert "Traceback" not in "".join(evening.lines)
    finally:
        evening.put_away()


def raw_bytes(session):
    """Bytes of all ports that the disk has, whatever became of the program since."""
    return sum(path.stat().st_size for path in session.raw.glob("port-*.wire"))
