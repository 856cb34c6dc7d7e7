"""One evening: the whole program in a process of its own, three boards on ptys, and a witness who looks at the page all the time."""

import collections
import contextlib
import json
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import numpy as np
import psutil

from monitor.sessions import Playback, find_sessions
from monitor.wire import PackedDecoder, SampleRun
from tests.faults.hostile_board import HostileBoard
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text
from tests.runtime.streams import INTERVAL_S, sine_counts
from tests.wire.bytestreams import identity

ROOT = Path(__file__).parents[2]
LONG_S = 90.0
AGE_SLACK_S = 1.0
"""By so much an age may look younger than the board's silence: bytes on their way, and a payload that was made a moment ago."""
VOLTS = {"Outer main": 15.0, "Inner main": 12.0, "Quarry branch": 9.0, "Town lights": 14.0, "Harbour": 11.0, "Yard": 13.0}
BOARD_OF = dict(zip(VOLTS, (0, 0, 1, 1, 2, 2), strict=True))
BAUDS = (500_000, 500_000, 115_200)
"""As the layout file has them; the third is wrong."""


def layout_text(links):
    text = head_text(boards=()) + supply_text("North bench", va=400) + output_text("A", "North bench")
    for k, link in enumerate(links):
        text += f'[[board]]\nname = "bench-{k + 1}"\nnumber = {k}\nport = "{link}"\nbaud = {BAUDS[k]}\n'
    for k, name in enumerate(VOLTS):
        text += district_text(k % 2, name, "North bench", board=f"bench-{k // 2 + 1}")
    return text


class Evening:
    """See above.

    Attributes:
        boards: Three; the third sends at another baud rate than the layout file says.
        lies: What the witness saw that was not so, one sentence each.
    """

    def __init__(self, folder):
        self.folder, self.recordings = folder, folder / "recordings"
        links = [folder / f"usb{k}" for k in range(3)]
        volts = np.array(list(VOLTS.values())).reshape(3, 2)
        # A whole number of mains cycles, so that it can be played round and round.
        counts = [sine_counts(INTERVAL_S * 6250, pair, (1.0, 0.5)) for pair in volts]
        self.boards = [
            HostileBoard(link, identity(channels=4, number=k, name=f"bench-{k + 1}"), counts[k], baud=500_000 if k == 2 else None)
            for k, link in enumerate(links)
        ]
        self.layout = folder / "layout.toml"
        self.layout.write_text(layout_text(links))
        self.lines, self.lies, self.looks = [], [], 0
        self._stop = threading.Event()
        self.program = None

    def start(self, *words):
        """Start the program; with a page unless the words say otherwise."""
        command = [sys.executable, "-m", "tests.faults.program", "watch", self.layout, "--recordings", self.recordings]
        command += ["--web-port", 0, *words]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
        self.program = subprocess.Popen([str(word) for word in command], cwd=ROOT, **pipes)
        self.process = psutil.Process(self.program.pid)
        self._reader = threading.Thread(target=self._read_lines, args=(self.program,), daemon=True)
        self._reader.start()

    def open_page(self):
        """Wait for the page and let the witness look at it."""
        said = until(lambda: next((line for line in self.lines if "The page is at" in line), None))
        self.port = int(said.rstrip("/\n").rsplit(":", 1)[1])
        self._witness = threading.Thread(target=self._look_on, daemon=True)
        self._witness.start()

    def get(self, path):
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=60) as answer:
            return answer.read()

    def payload(self):
        return json.loads(self.get("/feed/now"))

    def districts(self, board):
        """Rows of a board's districts."""
        rows = zip(VOLTS, self.payload()["districts"], strict=True)
        return [row for name, row in rows if BOARD_OF[name] == board]

    def is_live(self, *boards):
        return all(row["age_s"] is not None and row["age_s"] < 1.0 for board in boards for row in self.districts(board))

    def until_live(self, *boards):
        until(lambda: self.is_live(*boards))

    def until_said(self, words, after=0):
        """The line that has these words, in the part of the terminal's lines from ``after`` on."""
        return until(lambda: next((line for line in self.lines[after:] if words in line), None))

    def end(self, number=signal.SIGTERM):
        """End the program; its exit code."""
        self._stop.set()
        if self.program is None or self.program.poll() is not None:
            return None
        self.program.send_signal(number)
        code = self.program.wait(LONG_S)
        self._close()
        return code

    def put_away(self):
        for board in self.boards:
            board.stop(drained=False)
        if self.program is not None and self.program.poll() is None:
            self.program.kill()
            self.program.wait()
            self._close()

    def _close(self):
        self._reader.join(LONG_S)
        self.program.stdout.close()

    def _read_lines(self, program):
        for line in program.stdout:
            self.lines.append(line)

    def _look_on(self):
        while not self._stop.wait(0.1):
            sent_s = [board.last_sent_s for board in self.boards]
            asked_s = time.monotonic()
            try:
                payload = self.payload()
            except OSError as error:
                if not self._stop.is_set():
                    self.lies.append(f"no answer: {error}")
                continue
            self.looks += 1
            still_s = [board.last_sent_s for board in self.boards]
            for (name, volts), row in zip(VOLTS.items(), payload["districts"], strict=True):
                self._judge(name, volts, row, asked_s, (sent_s[BOARD_OF[name]], still_s[BOARD_OF[name]]))

    def _judge(self, name, volts, row, asked_s, sent_s):
        if row["age_s"] is None:
            return
        before_s, after_s = sent_s
        if before_s == after_s and before_s is not None and row["age_s"] < asked_s - before_s - AGE_SLACK_S:
            self.lies.append(f"{name} said {row['age_s']} s old, but was silent for {asked_s - before_s:.2f} s")
        if row["age_s"] <= 1.0 and abs(float(row["volts"] or "nan") - volts) > 0.03 * volts:
            self.lies.append(f"{name} said {row['volts']} V instead of {volts}")
        if row["age_s"] > 1.0 and row["level"] != "stale":
            self.lies.append(f"{name} was {row['age_s']} s old and not called stale but {row['level']}")


def recorded_scans(recordings):
    """Scans in the recorded bytes of all sessions, by board number; a packet that comes again and again counts once."""
    scans, latest = collections.Counter(), {}
    for session in find_sessions(recordings):
        decoders = {}
        for played in Playback(session):
            if played.chunk.reopened:
                decoders.pop(played.port, None)
            for item in decoders.setdefault(played.port, PackedDecoder()).feed(played.chunk.data):
                if isinstance(item, SampleRun) and latest.get(item.number) != item.first_scan:
                    latest[item.number] = item.first_scan
                    scans[item.number] += len(item.counts)
    return scans


def mute_viewer(port):
    """A browser that asks for the stream and never reads."""
    viewer = socket.create_connection(("127.0.0.1", port))
    with contextlib.suppress(OSError):
        viewer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    viewer.sendall(f"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    return viewer


def until(condition, timeout_s=LONG_S):
    """Wait until a condition holds; what it returned."""
    end_s = time.monotonic() + timeout_s
    while time.monotonic() < end_s:
        if found := condition():
            return found
        time.sleep(0.03)
    raise AssertionError(f"did not come true within {timeout_s} s")
