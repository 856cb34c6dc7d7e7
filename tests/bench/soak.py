"""A soak: ``python -m tests.bench.soak --hours 24 --speed 30 --form lines`` (48 minutes; ``--hours 0.2`` for a look).

The whole program - link, pipeline, recorder, page - runs as a process of its own by a clock that is so many times faster, or less
where the computer is too busy for that: the clock waits for a program, or a port, that falls behind. A board (``--form``: packed
with four or two districts, or lines at ten readings a second) plays ten minutes of the rehearsed show round and round over a pty,
while the plug is pulled, noise comes, the board browns out, falls silent or floods, browsers come and go, one never reads, and
visitors flood the page at random. Between the faults come short circuits: each must have its warning in time. At the end, or when
told to end, it prints what became of memory, file handles, threads, samples and warnings. What was recorded is compared with the
board's own books.
"""

# ruff: noqa: S311 - faults that are known, not secret

import argparse
import collections
import json
import multiprocessing
import random
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

import numpy as np
import psutil

from tests.bench.bench_looking import VISITS, visit
from tests.bench.soak_boards import FORMS, board_and_layout
from tests.bench.soak_report import CALM_S, report

FAULT_EVERY_S = (60.0, 240.0)
"""Seconds of the show between two faults, drawn evenly."""
SAMPLE_EVERY_S = 5.0
LOOK_EVERY_S = 1.0
MUTE_VIEWER_LASTS_S, MUTE_VIEWER_PAUSE_S = 20.0, 100.0
PAGES = ("/", "/stalls", "/before", "/feed/window", "/_dash-layout", "/_dash-dependencies")
AGE_SLACK_S = 0.5
"""Wall seconds from a byte's sending to its receipt, by which an age may look younger than the silence."""
BACKLOG_S = 120.0
BEHIND_LIMIT_BYTES = {"packed": 1_000_000, "packed-2": 200_000, "lines": 50_000}
"""So much may wait for the program's pipeline; beyond it, the clock goes slower. What the program itself holds is far more."""
BOARD_BEHIND_S = 0.03
"""Wall seconds that a board may be late with its scans before the clock goes slower, until it stands at twice as many."""
SHORT_LASTS_S, SHORT_PATIENCE_S = 2.0, 20.0
"""So much of a short reaches the port, or the wait for it ends: a busy computer holds the board itself back."""
FLOOD_LASTS_S, FLOOD_PAUSE_S = (5.0, 15.0), (20.0, 120.0)
"""Wall seconds of a crowd of visitors, and between two, drawn evenly."""


class Pace:
    """The clock of the soak, in a file that the program reads it from and tells in how many bytes wait."""

    def __init__(self, path, speed, behind_limit_bytes):
        self._behind_limit_bytes = behind_limit_bytes
        path.write_bytes(bytes(16))
        self._seconds = np.memmap(path, dtype=np.float64, mode="r+", shape=(2,))
        self._speed = speed
        self.board_behind_s = lambda: 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._turn, daemon=True)
        self._thread.start()

    def now_s(self):
        return float(self._seconds[0])

    def sleep(self, seconds):
        ends_s = self.now_s() + seconds
        while self.now_s() < ends_s:
            time.sleep(0.01)

    def stop(self):
        self._stop.set()
        self._thread.join()

    def _turn(self):
        before_s = time.monotonic()
        while not self._stop.wait(0.005):
            now_s = time.monotonic()
            # A pty holds some thousand bytes: what it does not take would be dropped by the board, and be no loss of the watch.
            behind = max(
                float(self._seconds[1]) / self._behind_limit_bytes, self.board_behind_s() / (BOARD_BEHIND_S * self._speed)
            )
            share = min(1.0, max(0.0, 2.0 - behind))
            self._seconds[0] += min(0.05, now_s - before_s) * self._speed * share
            before_s = now_s


class Soak:
    """One soak: the program, its board, its viewers, and what was seen of them."""

    def __init__(self, folder, *, hours, speed, seed, form):
        self._folder, self._seconds, self.speed, self.form = folder, hours * 3600.0, speed, form
        self._pace = Pace(folder / "clock", speed, BEHIND_LIMIT_BYTES[form])
        self._dice = random.Random(seed)
        self._stop, self._ended = threading.Event(), threading.Event()
        self.faults = collections.Counter()
        self.samples, self.looks, self.unanswered, self.too_young = [], 0, [], []
        self.pages_opened = 0
        self.recording_trouble = collections.Counter()
        self.shorts, self.unsent_shorts, self.stretches, self.crowds = [], 0, [], collections.Counter()
        self.board, self._layout_text = board_and_layout(form, folder / "board", now_s=self._pace.now_s, backlog_s=BACKLOG_S)
        self._pace.board_behind_s = self.board.behind_s
        self.began_s = self._pace.now_s()
        self._began_wall_s = time.monotonic()

    def run(self):
        self._start()
        signal.signal(signal.SIGTERM, lambda *_: self._ended.set())
        threads = [
            threading.Thread(target=work, daemon=True) for work in (self._look, self._never_read, self._open_pages, self._crowd)
        ]
        for thread in threads:
            thread.start()
        try:
            self.began_s, self._began_wall_s = self._pace.now_s(), time.monotonic()
            self._strew_faults()
        finally:
            self.hours, self.wall_s = self.gone_s / 3600, time.monotonic() - self._began_wall_s
            self.board.stop()
            # The last bytes need a moment to the disk.
            time.sleep(2)
            self._stop.set()
            for thread in threads:
                thread.join(15)
            self._sample()
            self.program.send_signal(signal.SIGTERM)
            self.code = self.program.wait(120)
            self._pace.stop()
        return self

    def _start(self):
        layout = self._folder / "layout.toml"
        layout.write_text(self._layout_text)
        self.warnings = self._folder / "warnings.jsonl"
        words = ["-m", "tests.bench.soak_program", "--speed", self.speed, "--clock", self._folder / "clock"]
        words += ["--warnings", self.warnings, layout, "--web-port", 0, "--share"]
        words += ["--recordings", self._folder / "recordings"]
        self.said = self._folder / "said.txt"
        with self.said.open("w") as said:
            self.program = subprocess.Popen([sys.executable, *map(str, words)], stdout=said, stderr=subprocess.STDOUT)
        self._process = psutil.Process(self.program.pid)
        ends_s = time.monotonic() + 60
        while not (found := re.search(r"http://127\.0\.0\.1:(\d+)/", self.said.read_text())):
            assert time.monotonic() < ends_s, self.said.read_text()
            assert self.program.poll() is None, self.said.read_text()
            time.sleep(0.1)
        self._port = int(found[1])
        while not self.board.is_opened():
            assert time.monotonic() < ends_s, "the board's port was not opened"
            time.sleep(0.1)

    @property
    def gone_s(self):
        return self._pace.now_s() - self.began_s

    def _strew_faults(self):
        kinds = (self._unplug, self._noise, self._brown_out, self._silence, self._flood)
        next_fault_s, next_sample_s, short_s, told = 30.0, 0.0, None, 0
        while not self._ended.is_set() and self.gone_s < self._seconds and self.program.poll() is None:
            time.sleep(0.05)
            if time.monotonic() >= next_sample_s:
                next_sample_s = time.monotonic() + SAMPLE_EVERY_S
                self._sample()
            if self.gone_s >= next_fault_s:
                kind = self._dice.choice(kinds)
                began_s, name = self._pace.now_s(), kind.__name__.strip("_")
                kind()
                self.faults[name] += 1
                self.stretches.append((name, began_s, self._pace.now_s()))
                next_fault_s = self.gone_s + self._dice.uniform(*FAULT_EVERY_S)
                short_s = self.gone_s + CALM_S
            if short_s is not None and self.gone_s >= short_s:
                short_s = None
                self._short()
            if self.gone_s // 3600 > told:
                told = int(self.gone_s // 3600)
                print(f"{told} h: {self.samples[-1]}", flush=True)

    def _wait(self, seconds):
        self._pace.sleep(seconds)

    def _unplug(self):
        self.board.unplug(drained=True)
        self._wait(self._dice.uniform(2, 60))
        self.board.plug_in()

    def _noise(self):
        self.board.noise(0.01)
        self._wait(self._dice.uniform(5, 30))
        self.board.noise(0.0)

    def _brown_out(self):
        for _ in range(self._dice.randint(1, 5)):
            self.board.restart(self._dice.uniform(0.5, 3))
            self._wait(self._dice.uniform(3, 8))

    def _silence(self):
        self.board.be_silent(self._dice.uniform(3, 30))

    def _flood(self):
        self.board.flood(self._dice.uniform(5, 20) / self.speed)

    def _short(self):
        """A short circuit of so many seconds that reach the port, where the board is heard and no other one is fresh."""
        now_s, sent_s = self._pace.now_s(), self.board.last_sent_at_s
        rose = [row["at_s"] for row in self.warned() if row["rule"] == "short"]
        if sent_s is None or now_s - sent_s > 1.0 or (rose and now_s - rose[-1] < CALM_S):
            return
        self.board.shorted_scans, self.board.shorted_at_s = 0, None
        self.board.shorted_counts = self.board.shorted_form
        scans = SHORT_LASTS_S / self.board.identity.scan_interval_s
        while self.board.shorted_scans < scans and self._pace.now_s() < now_s + SHORT_PATIENCE_S:
            time.sleep(0.005)
        self.board.shorted_counts = None
        if self.board.shorted_at_s is None:
            self.unsent_shorts += 1
        else:
            self.shorts.append(self.board.shorted_at_s)
            self.stretches.append(("short", now_s, self._pace.now_s()))

    def warned(self):
        """Rows of the warnings that came to the terminal so far."""
        return [json.loads(line) for line in self.warnings.read_text().splitlines(keepends=True) if line.endswith("\n")]

    def _sample(self):
        with self._process.oneshot():
            self.samples.append(
                {
                    "at_h": round(self.gone_s / 3600, 2),
                    "rss_mb": round(self._process.memory_info().rss / 1e6, 1),
                    "page_mb": round(max([0, *map(rss_bytes, self._process.children())]) / 1e6, 1),
                    "handles": self._process.num_fds(),
                    "threads": self._process.num_threads(),
                    "cpu_s": round(sum(self._process.cpu_times()[:2]), 1),
                }
            )

    def _look(self):
        """A browser that polls: every answer must come, and no figure may look younger than the board's silence."""
        while not self._stop.wait(LOOK_EVERY_S):
            silent_since_s = self.board.last_sent_at_s
            asked_s = self._pace.now_s()
            try:
                payload = json.loads(self._get("/feed/now"))
            except OSError as error:
                self.unanswered.append(f"{error}")
                continue
            self.looks += 1
            ages = [row["age_s"] for row in payload["districts"] if row["age_s"] is not None]
            # Where the board sent meanwhile, the younger figure is right.
            if ages and silent_since_s is not None and self.board.last_sent_at_s == silent_since_s:
                least_s = asked_s - silent_since_s - AGE_SLACK_S * self.speed
                if min(ages) < least_s:
                    self.too_young.append((round(min(ages), 2), round(least_s, 2)))
            if not payload["recording"]["well"]:
                self.recording_trouble[payload["recording"]["sentence"]] += 1

    def _never_read(self):
        while not self._stop.is_set():
            with socket.create_connection(("127.0.0.1", self._port)) as viewer:
                viewer.sendall(f"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1:{self._port}\r\n\r\n".encode())
                self._stop.wait(MUTE_VIEWER_LASTS_S)
            self._stop.wait(MUTE_VIEWER_PAUSE_S)

    def _open_pages(self):
        while not self._stop.wait(20):
            for path in PAGES:
                try:
                    self._get(path)
                    self.pages_opened += 1
                except OSError as error:
                    self.unanswered.append(f"{path}: {error}")

    def _crowd(self):
        """Visitors who may only look, from other addresses, do too much of it for some seconds."""
        dice, spawn = random.Random(17), multiprocessing.get_context("spawn")
        while not self._stop.wait(dice.uniform(*FLOOD_PAUSE_S)):
            kind, seconds = dice.choice(sorted(VISITS)), dice.uniform(*FLOOD_LASTS_S)
            session = max(path.name for path in (self._folder / "recordings").iterdir() if path.is_dir())
            visitors = spawn.Process(target=visit, args=(kind, self._port, session, seconds), daemon=True)
            visitors.start()
            self._stop.wait(seconds)
            visitors.kill()
            self.crowds[kind] += 1

    def _get(self, path):
        with urllib.request.urlopen(f"http://127.0.0.1:{self._port}{path}", timeout=20) as answer:
            return answer.read()


def rss_bytes(process):
    """Memory of a process that may be gone."""
    try:
        return process.memory_info().rss
    except psutil.Error:
        return 0


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=24.0, help="hours of the show")
    parser.add_argument("--speed", type=float, default=30.0)
    parser.add_argument("--form", choices=FORMS, default="packed", help="what the board sends")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a folder to keep everything in")
    args = parser.parse_args()
    folder = args.keep or Path(tempfile.mkdtemp(prefix="soak-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        soak = Soak(folder, hours=args.hours, speed=args.speed, seed=args.seed, form=args.form).run()
        print("\n".join(report(soak, folder)), flush=True)
    finally:
        if args.keep is None:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
