"""The whole way by the commands a user types: a bench on a pty, watch, broker, collect, ask."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

from monitor.rehearsal import RehearsalBoard, demo_layout_text, fernhollow_show
from tests.bus.mosquitto import until

ROOT = Path(__file__).parents[2]


def command(*words):
    return subprocess.Popen(
        [sys.executable, "-m", "monitor", *map(str, words)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": "."},
    )  # fmt: skip


def said(program):
    out, err = program.communicate(timeout=250)
    assert program.returncode == 0, err
    return out


def test_what_a_bench_draws_is_what_is_asked_for_in_the_end(mosquitto, tmp_path):
    layout, into = tmp_path / "layout.toml", tmp_path / "hall"
    board = RehearsalBoard(fernhollow_show())
    layout.write_text(demo_layout_text(board.port))
    board.start()
    collect = command("collect", "--broker", mosquitto.url, "--into", into, "--name", "one", "--every", "0.5")
    watch = command(
        "watch", layout, "--broker", mosquitto.url, "--station", "Fernhollow", "--outbox", tmp_path / "outbox",
        "--recordings", tmp_path / "recordings", "--no-page",
    )  # fmt: skip
    try:
        until(lambda: len(list(into.glob("readings/hall=Hall/*/station=Fernhollow/*.parquet"))) >= 3, 150)
        until(lambda: list(into.glob("supplies/*/*/*/*.parquet")))
    finally:
        for program in (watch, collect):
            program.send_signal(signal.SIGINT)
        printed = said(watch)
        said(collect)
        board.stop()
    assert f"hall: This station sends to 127.0.0.1:{mosquitto.port}." in printed
    draw = [json.loads(line) for line in said(command("ask", into, "draw", "--json")).splitlines()]
    assert {row["district"] for row in draw} == {"Outer main", "Inner main", "Quarry branch", "Town lights"}
    assert all(row["hall"] == "Hall" and row["station"] == "Fernhollow" for row in draw)
    assert max(row["amps_mean"] for row in draw) > 0.1
    closest = [json.loads(line) for line in said(command("ask", into, "closest", "--json")).splitlines()]
    assert {row["supply"] for row in closest} == {"North bench", "South bench"}
    assert all(0 < row["percent_of_limit"] < 300 for row in closest)
    assert "South bench" in said(command("ask", into, "closest"))
