"""A soak: ``python -m tests.bench.soak --hours 24 --speed 30`` (48 minutes; ``--hours 0.2`` for a look).

The whole program - link, pipeline, recorder, page - runs as a process of its own by a clock that is so many times faster, or less
where the computer is too busy for that: the clock waits for a program that falls behind. A board of four districts plays ten
minutes of the rehearsed show round and round over a pty, while the plug is pulled, noise comes, the board browns out, falls silent or
floods, browsers come and go and one never reads. At the end, or when told to end, it prints what became of memory, file handles,
threads, samples and warnings. What was recorded is decoded again and compared with the board's own books.
"""

# ruff: noqa: S311 - faults that are known, not secret

import argparse
import collections
import json
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

import msgspec
import numpy as np
import psutil

from monitor.rehearsal import demo_layout_text, fernhollow_show
from monitor.sessions import Playback, find_sessions
from monitor.values import Identity
from monitor.wire import PackedDecoder, SampleRun
from tests.faults.hostile_board import HostileBoard

PLAYED_S = 600.0
FAULT_EVERY_S = (60.0, 240.0)
"""Seconds of the show between two faults, drawn evenly."""
SAMPLE_EVERY_S = 5.0
LOOK_EVERY_S = 1.0
MUTE_VIEWER_LASTS_S, MUTE_VIEWER_PAUSE_S = 20.0, 100.0
PAGES = ("/", "/stalls", "/before", "/feed/window", "/_dash-layout", "/_dash-dependencies")
AGE_SLACK_S = 0.5
"""Wall seconds from a byte's sending to its receipt, by which an age may look younger than the silence."""
BACKLOG_S = 120.0
BEHIND_LIMIT_BYTES = 1_000_000
"""So much may wait for the program's pipeline; beyond it, the clock goes slower. What the program itself holds is eight times as much."""


class Pace:
    """The clock of the soak, in a file that the program reads it from and tells in how many bytes wait."""

    def __init__(self, path, speed):
        path.write_bytes(bytes(16))
        self._seconds = np.memmap(path, dtype=np.float64, mode="r+", shape=(2,))
        self._speed = speed
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
            share = min(1.0, max(0.0, 2.0 - float(self._seconds[1]) / BEHIND_LIMIT_BYTES))
            self._seconds[0] += min(0.05, now_s - before_s) * self._speed * share
            before_s = now_s


class Soak:
    """One soak: the program, its board, its viewers, and what was seen of them."""

    def __init__(self, folder, *, hours, speed, seed):
        self._folder, self._seconds, self._speed = folder, hours * 3600.0, speed
        self._pace = Pace(folder / "clock", speed)
        self._dice = random.Random(seed)
        self._stop, self._ended = threading.Event(), threading.Event()
        self.faults = collections.Counter()
        self.samples, self.looks, self.unanswered, self.too_young = [], 0, [], []
        self.pages_opened = 0
        self.recording_trouble = collections.Counter()
        identity, counts = played_counts()
        self.board = HostileBoard(folder / "board", identity, counts, now_s=self._pace.now_s, backlog_s=BACKLOG_S)
        self._began_s = self._pace.now_s()
        self._began_wall_s = time.monotonic()

    def run(self):
        self._start()
        signal.signal(signal.SIGTERM, lambda *_: self._ended.set())
        threads = [threading.Thread(target=work, daemon=True) for work in (self._look, self._never_read, self._open_pages)]
        for thread in threads:
            thread.start()
        try:
            self._began_s, self._began_wall_s = self._pace.now_s(), time.monotonic()
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
        layout.write_text(demo_layout_text(str(self.board.link)))
        words = [
            "-m",
            "tests.bench.soak_program",
            "--speed",
            self._speed,
            "--clock",
            self._folder / "clock",
            layout,
            "--web-port",
            0,
        ]
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
        return self._pace.now_s() - self._began_s

    def _strew_faults(self):
        kinds = (self._unplug, self._noise, self._brown_out, self._silence, self._flood)
        next_fault_s, next_sample_s, told = 30.0, 0.0, 0
        while not self._ended.is_set() and self.gone_s < self._seconds and self.program.poll() is None:
            time.sleep(0.05)
            if time.monotonic() >= next_sample_s:
                next_sample_s = time.monotonic() + SAMPLE_EVERY_S
                self._sample()
            if self.gone_s >= next_fault_s:
                kind = self._dice.choice(kinds)
                kind()
                self.faults[kind.__name__.strip("_")] += 1
                next_fault_s = self.gone_s + self._dice.uniform(*FAULT_EVERY_S)
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
        self.board.flood(self._dice.uniform(5, 20) / self._speed)

    def _sample(self):
        with self._process.oneshot():
            self.samples.append(
                {
                    "at_h": round(self.gone_s / 3600, 2),
                    "rss_mb": round(self._process.memory_info().rss / 1e6, 1),
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
                least_s = asked_s - silent_since_s - AGE_SLACK_S * self._speed
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

    def _get(self, path):
        with urllib.request.urlopen(f"http://127.0.0.1:{self._port}{path}", timeout=20) as answer:
            return answer.read()


def played_counts():
    """Identity and counts of some minutes of the show."""
    show, decoder, runs, identity, made_s = fernhollow_show(), PackedDecoder(), [], None, 0.0
    while made_s < PLAYED_S:
        part = show.next_part()
        made_s = part.end_s
        for item in decoder.feed(b"".join(part.packets)):
            if isinstance(item, SampleRun):
                runs.append(item.counts)
            elif isinstance(item, Identity):
                identity = item
    return identity, np.concatenate(runs)


def recorded(recordings):
    """Bytes and scans that the sessions hold, what they say was lost, and how many of each notice."""
    size, scans, losses, notices = 0, 0, [], collections.Counter()
    for session in find_sessions(recordings):
        playback, decoder = Playback(session), PackedDecoder()
        for played in playback:
            if played.chunk.reopened:
                decoder = PackedDecoder()
            size += len(played.chunk.data)
            scans += sum(len(item.counts) for item in decoder.feed(played.chunk.data) if isinstance(item, SampleRun))
        closing = session.closing()
        losses += [*playback.damage, *(closing.losses if closing is not None else ("not closed",))]
        for kind, word in (("warnings", "rule"), ("events", "cause"), ("findings", "kind")):
            rows = {}
            path = session.notices(kind)
            for line in path.read_bytes().splitlines() if path.exists() else ():
                row = msgspec.json.decode(line)
                rows[row["id"]] = f"{row.get('priority', '')} {row[word]}".strip()
            notices.update(f"{kind[:-1]} {name}" for name in rows.values())
    return size, scans, losses, notices


def report(soak, folder):
    """The report's lines."""
    size, scans, losses, notices = recorded(folder / "recordings")
    said = soak.said.read_text()
    dropped = re.findall(r"does not keep up: (\d+) bytes", said)
    settled = [row for row in soak.samples if row["at_h"] > min(1.0, soak.hours / 4)] or soak.samples
    cpu_s, speed = soak.samples[-1]["cpu_s"], soak.hours * 3600 / soak.wall_s
    hours_run = np.array([row["at_h"] for row in settled])
    lines = [f"{soak.hours:.2f} h at {speed:.1f} times real time, {sum(soak.faults.values())} faults: {dict(soak.faults)}"]
    for name in ("rss_mb", "handles", "threads"):
        values = np.array([row[name] for row in settled])
        slope = np.polyfit(hours_run, values, 1)[0] if len(values) > 2 and np.ptp(hours_run) > 0 else 0.0
        quarters = [round(float(np.median(part)), 1) for part in np.array_split(values, 4) if len(part)]
        lines.append(f"{name}: quarters' medians {quarters}, highest {values.max():g}, {slope:+.3f} an hour")
    lines += [
        f"processor: {cpu_s / soak.wall_s:.2f} of a core, {cpu_s / soak.hours:.0f} s an hour of the show",
        f"bytes: {soak.board.bytes_sent} taken by the port, {size} recorded, {soak.board.bytes_sent - size} lost",
        (
            f"scans: {soak.board.intact_scans} sent whole, {scans} recorded, {soak.board.intact_scans - scans} lost"
            f" ({soak.board.dropped_scans} more were held back by the board because its port was not read in time)"
        ),
        f"dropped because this computer did not keep up, as the terminal told: at least {dropped[-1] if dropped else 0} bytes",
        f"losses told by the sessions: {losses or 'none'}",
        f"notices: {dict(sorted(notices.items()))}",
        (
            f"page: {soak.looks} looks, {soak.pages_opened} pages opened, {len(soak.unanswered)} unanswered {soak.unanswered[:3]},"
            f" {len(soak.too_young)} ages too young {soak.too_young[:3]}"
        ),
        f"recording trouble shown: {dict(soak.recording_trouble) or 'none'}",
        (
            f"exit code {soak.code}, tracebacks {said.count('Traceback')}, log lines of errors {len(re.findall(r' ERROR ', said))},"
            f" of warnings {len(re.findall(r' WARNING [a-z]', said))}"
        ),
    ]
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=24.0, help="hours of the show")
    parser.add_argument("--speed", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a folder to keep everything in")
    args = parser.parse_args()
    folder = args.keep or Path(tempfile.mkdtemp(prefix="soak-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        soak = Soak(folder, hours=args.hours, speed=args.speed, seed=args.seed).run()
        print("\n".join(report(soak, folder)), flush=True)
    finally:
        if args.keep is None:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
