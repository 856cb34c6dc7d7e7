"""The commands that watch, started as a user starts them."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from monitor.sessions import find_sessions
from tests.layout.fernhollow import FERNHOLLOW
from tests.link.plugs import Plug, TalkingBoard, until

ROOT = Path(__file__).parent.parent.parent
PLAIN = FERNHOLLOW.split("[calibration")[0].replace("far_volts_channel = 4\n", "")


def pilotlamp(*arguments, cwd, env=None, **how):
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **(env or {})}
    command = [sys.executable, "-m", "monitor", *map(str, arguments)]
    return subprocess.Popen(command, cwd=cwd, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **how)


def ended(*arguments, cwd, **how):
    process = pilotlamp(*arguments, cwd=cwd, **how)
    out, err = process.communicate(timeout=240)
    assert "Traceback" not in out + err
    return process.returncode, out, err


@pytest.fixture
def layout(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(PLAIN)
    return path


@pytest.fixture
def board(tmp_path):
    plug = Plug(tmp_path / "usb")
    talking = TalkingBoard(plug)
    yield plug
    talking.stop()
    plug.pull_out()


def test_a_board_is_watched_recorded_and_summed_up(layout, board, tmp_path):
    arguments = ("watch", layout, "--port", f"bench-1={board.device}", "--headless", "--seconds", "5")
    code, out, err = ended(*arguments, cwd=tmp_path)
    assert (code, err) == (0, "")
    summary = json.loads(out.splitlines()[-1])
    assert summary["boards"] == ["bench-1"]
    # The board sends a sine of 15 V RMS.
    assert summary["districts"]["Outer main"]["volts_mean"] == pytest.approx(15.0, abs=0.1)
    assert f'Reading board "bench-1" on {board.device}.' in out
    assert len(list(find_sessions(tmp_path / "recordings"))) == 1


def test_a_missing_port_is_said_and_waited_for_and_nothing_read_is_code_3(layout, tmp_path):
    code, out, _ = ended("watch", layout, "--headless", "--no-record", "--seconds", "3", cwd=tmp_path)
    assert code == 3
    assert "/dev/ttyUSB0: plug the board in, or see 'pilotlamp ports' for what is there. Trying again and again." in out
    assert not (tmp_path / "recordings").exists()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(layout, board, tmp_path, number):
    process = pilotlamp("watch", layout, "--port", f"bench-1={board.device}", "--no-page", cwd=tmp_path)
    until(lambda: "Reading board" in process.stdout.readline())
    process.send_signal(number)
    _, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (0, "")


def test_a_busy_web_port_is_one_sentence(layout, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, _, err = ended("watch", layout, "--web-port", port, cwd=tmp_path)
    assert code == 2
    assert err.startswith(f"pilotlamp: the page cannot be served at 127.0.0.1:{port}")
    assert "--web-port" in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "recordings").exists()


def test_a_recordings_folder_that_cannot_be_is_one_sentence(layout, tmp_path):
    (tmp_path / "file").write_text("not a folder")
    code, _, err = ended("watch", layout, "--headless", "--seconds", "1", "--recordings", tmp_path / "file", cwd=tmp_path)
    assert code == 2
    assert len(err.splitlines()) == 1
    assert str(tmp_path / "file") in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["no-such.toml"], "there is no such file"),
        (["layout.toml", "--port", "bench-9=/dev/x"], 'there is no board "bench-9"'),
        (["layout.toml", "--port", "bench-1"], "not of the form BOARD=DEVICE"),
        (["layout.toml", "--seconds", "0"], "no number of seconds"),
        (["layout.toml", "--web-port", "99999"], "no port number"),
    ],
)
def test_wrong_arguments_are_said(layout, tmp_path, arguments, words):
    code, _, err = ended("watch", *arguments, "--no-record", "--no-page", cwd=tmp_path)
    assert code == 2
    assert words in err


def test_a_board_without_the_layouts_channels_is_said(tmp_path, board):
    path = tmp_path / "layout.toml"
    path.write_text(PLAIN.replace("volts_channel = 2\namps_channel = 3", "volts_channel = 6\namps_channel = 7"))
    arguments = ("watch", path, "--port", f"bench-1={board.device}", "--headless", "--no-record", "--seconds", "4")
    _, out, _ = ended(*arguments, cwd=tmp_path)
    assert 'Board "bench-1" has 4 channels, numbered from 0, but the layout file uses channel 6, 7: correct' in out


def test_the_demo_killed_and_started_again_loses_nothing_but_the_last_second(tmp_path):
    process = pilotlamp("demo", "--headless", "--seconds", "60", cwd=tmp_path)
    until(lambda: "Reading board" in process.stdout.readline())
    time.sleep(4)  # a stretch to record; how little of its end is lost is held in tests/sessions
    process.kill()
    process.communicate(timeout=120)
    code, out, _ = ended("demo", "--headless", "--seconds", "6", cwd=tmp_path)
    assert code == 0
    summary = json.loads(out.splitlines()[-1])
    assert summary["readings"] > 100
    assert summary["ports"][0]["state"] == "reading"
    assert len(list(find_sessions(tmp_path / "recordings"))) == 2
    seconds = []
    for session in sorted((tmp_path / "recordings").iterdir()):
        code, out, err = ended("sift", session, "--json", cwd=tmp_path)
        assert (code, err) == (0, "")
        seconds.append(json.loads(out.splitlines()[-1])["duration_s"])
    assert min(seconds) > 0.0


def closed_terminal(process):
    process.send_signal(signal.SIGHUP)


def broken_pipe(process):
    process.stdout.close()


@pytest.mark.parametrize("lost", [closed_terminal, broken_pipe])
def test_the_watch_outlives_its_terminal_and_closes_the_session_well(layout, tmp_path, lost):
    log, plug = tmp_path / "watch.log", Plug(tmp_path / "usb")
    talking = TalkingBoard(plug)
    process = pilotlamp("watch", layout, "--port", f"bench-1={plug.device}", "--no-page", "--log", log, cwd=tmp_path)
    until(lambda: "Reading board" in process.stdout.readline())
    lost(process)
    talking.stop()
    until(lambda: "says nothing" in log.read_text())
    plug.pull_out()
    time.sleep(1.0)
    assert process.poll() is None
    process.send_signal(signal.SIGTERM)
    assert process.wait(120) == 0
    (session,) = find_sessions(tmp_path / "recordings")
    assert session.closing().reason == "SIGTERM"


def test_a_terminal_on_a_full_disk_ends_nothing(layout, tmp_path):
    with Path("/dev/full").open("w") as full:
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "monitor", "watch", layout, "--headless", "--no-record", "--seconds", "2"]
        how = {"cwd": tmp_path, "env": environment, "stderr": subprocess.PIPE, "text": True, "timeout": 120}
        done = subprocess.run(command, stdout=full, check=False, **how)
    assert (done.returncode, "Traceback" in done.stderr) == (3, False)


def test_ctrl_c_in_the_first_moments_is_no_traceback(layout, tmp_path):
    process = pilotlamp("watch", layout, "--no-page", "--no-record", cwd=tmp_path, env={"PYTHONPROFILEIMPORTTIME": "1"})
    # Python writes down each module once it is imported: this one is needed by the command, not to find it.
    while "monitor.values.boards" not in process.stderr.readline():
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=120)
    assert "Traceback" not in err
