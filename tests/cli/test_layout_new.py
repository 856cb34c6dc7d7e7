"""``pilotlamp layout new`` at a terminal, with a board plugged in."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.layout import load_layout
from tests.link.plugs import Plug, TalkingBoard

ROOT = Path(__file__).parent.parent.parent
ANSWERS = "\n".join(
    [
        "Fernhollow show layout", "120", "60", "North bench", "ac", "180", "18", "", "", "", "thermal", "10", "2", "A", "y", "B", "n", "no",
        "Outer main", "1", "track", "Town lights", "2", "accessories",
    ]
)  # fmt: skip


def layout_new(cwd, *arguments, answers=ANSWERS):
    return subprocess.run(
        [sys.executable, "-m", "monitor", "layout", "new", *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        input=answers + "\n",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def plug(tmp_path):
    made = Plug(tmp_path / "usb")
    board = TalkingBoard(made)
    yield made
    board.stop()
    made.pull_out()


def test_the_board_that_is_plugged_in_is_found_and_written(tmp_path, plug):
    done = layout_new(tmp_path, "mine.toml", "--port", plug.device)
    assert (done.returncode, done.stderr) == (0, "")
    assert 'Board "bench-1", packed form, 500000 baud.' in done.stdout
    # The board sends sines of 15 and 12 V.
    assert re.search(r"now 1[45]\.\d V, [23]\.\d+ A", done.stdout)
    assert re.search(r"now 1[12]\.\d V", done.stdout)
    layout = load_layout(tmp_path / "mine.toml")
    assert [(board.name, board.port) for board in layout.board] == [("bench-1", plug.device)]
    assert [(d.name, d.output_name, d.amps_channel) for d in layout.district] == [
        ("Outer main", "North bench/A", 1),
        ("Town lights", "North bench/B", 3),
    ]


def test_no_board_makes_a_file_with_a_place_for_one(tmp_path):
    done = layout_new(tmp_path, "--port", tmp_path / "nothing", answers=ANSWERS.replace("no\nOuter", "no\n2\nOuter"))
    assert done.returncode == 0
    assert "There is no port" in done.stdout
    assert load_layout(tmp_path / "layout.toml").board[0].port is None


def test_answers_that_end_early_are_kept_and_gone_on_with(tmp_path):
    answers = ANSWERS.replace("no\nOuter", "no\n2\nOuter").splitlines()
    done = layout_new(tmp_path, "--port", tmp_path / "nothing", answers="\n".join(answers[:7]))
    assert done.returncode == 2
    assert "no layout was written; what was typed is kept" in done.stderr
    assert not (tmp_path / "layout.toml").exists()
    done = layout_new(tmp_path, "--port", tmp_path / "nothing", answers="\n".join(answers[7:]))
    assert (done.returncode, done.stderr) == (0, "")
    assert load_layout(tmp_path / "layout.toml").supply[0].rated_va == 180
    assert not (tmp_path / "layout.toml.draft").exists()


def test_a_folder_that_is_missing_is_told_before_the_first_question(tmp_path):
    done = layout_new(tmp_path, tmp_path / "missing" / "layout.toml", answers="")
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "called?" not in done.stdout


def test_a_file_that_is_there_stays_as_it_is(tmp_path):
    (tmp_path / "layout.toml").write_text("mine")
    done = layout_new(tmp_path, answers="")
    assert done.returncode == 2
    assert "stays as it is: give another name" in done.stderr
    assert (tmp_path / "layout.toml").read_text() == "mine"
