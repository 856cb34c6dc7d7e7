"""What looking costs watching: ``python -m tests.bench.bench_looking [--seconds N]``.

A watch of one board (a pty) with its page, once alone and once while visitors do what they should not: 40 that fetch the table of a
session over and over, 40 that open every page, 40 that open one recorded moment after the other with their files, 420 connections
that trickle a header line every 7 s, 64 event streams, 80 readers that never read. Meanwhile short circuits come on the wire;
printed are the times from the bytes of a short to its warning on the terminal, the age of the figures that this computer's own browser
gets, and how soon it gets them.
"""

import argparse
import contextlib
import http.client
import itertools
import json
import multiprocessing
import shutil
import signal
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import psutil

from tests.cli.test_watch import PLAIN, pilotlamp
from tests.link.plugs import Plug, TalkingBoard
from tests.runtime.streams import INTERVAL_S, sine_counts

RECORDINGS = Path(__file__).parents[2] / "recordings"
CALM_S = 45.0
"""Shorts that follow each other sooner are one warning that comes and goes."""
ADDRESSES = 40
"""Visitors come from 127.0.0.2 and on: to the server they are others than this computer's own 127.0.0.1."""


class ShortBoard(TalkingBoard):
    """A talking board whose first district can be shorted."""

    def __init__(self, plug):
        super().__init__(plug)
        self._plain = self._counts
        self._short = sine_counts(INTERVAL_S * 6250, (1.2, 12.0), (20.5, 1.0))

    def short(self, on):
        self._counts = self._short if on else self._plain


def visit(kind, port, session, seconds):
    """One kind of visitor, in a process of its own."""
    count, work = VISITS[kind]
    ends_s = time.monotonic() + seconds
    threads = [threading.Thread(target=work, args=(port, k, session, ends_s), daemon=True) for k in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(seconds + 60)


def _tables(port, number, session, ends_s):
    while time.monotonic() < ends_s:
        _ask(port, number, "GET", f"/review/table.csv?session={session}")


def _pages(port, number, session, ends_s):
    """Every page as a browser opens it, the list of sessions among them, and the set-up's address, which refuses."""
    del session
    while time.monotonic() < ends_s:
        for path in ("/", "/stalls", "/review", "/before", "/set-up", "/help", "/district"):
            _ask(port, number, "GET", path)
            asked = [("_pages_location.pathname", path), ("_pages_location.search", "")]
            _call_back(port, number, "_pages_content.children _pages_store.data", asked)
        _ask(port, number, "POST", "/setup/state", {})


def _moments(port, number, session, ends_s):
    for k in itertools.count(number):
        if time.monotonic() > ends_s:
            return
        event = 1 + k % 30
        _ask(port, number, "GET", f"/stalls/list?session={session}")
        asked = [("stall-tick.n_intervals", k), ("stall-news.data", 0), ("stall-chosen.data", event)]
        _call_back(port, number, "stall-moment.children stall-shown.data", asked, [("stall-session.data", session)])
        _ask(port, number, "GET", f"/stalls/event-{event}/csv?session={session}")
        _ask(port, number, "GET", f"/review/sheet?session={session}")


def _call_back(port, number, outputs, inputs, states=()):
    """One of Dash's callbacks, each property as NAME.PROPERTY."""

    def named(text):
        return dict(zip(("id", "property"), text.rsplit(".", 1), strict=True))

    body = {
        "output": f"..{'...'.join(outputs.split())}..",
        "outputs": [named(each) for each in outputs.split()],
        "inputs": [named(each) | {"value": value} for each, value in inputs],
        "state": [named(each) | {"value": value} for each, value in states],
        "changedPropIds": [inputs[-1][0]],
    }
    _ask(port, number, "POST", "/_dash-update-component", body)


def _ask(port, number, method, path, body=None):
    headers = {"X-Forwarded-For": f"192.0.2.{number}", "Content-Type": "application/json"}
    with contextlib.suppress(OSError, http.client.HTTPException):
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60, source_address=(_address(number), 0))
        line.request(method, path, body=None if body is None else json.dumps(body), headers=headers)
        line.getresponse().read()
        line.close()


def _address(number):
    return f"127.0.0.{2 + number % ADDRESSES}"


def _trickles(port, number, _session, ends_s):
    _hold(port, number, "GET / HTTP/1.1\r\n", "X-A: b\r\n", 7.0, ends_s)


def _streams(port, number, _session, ends_s):
    _hold(port, number, f"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n", None, 0.1, ends_s)


def _readers(port, number, _session, ends_s):
    large = f"GET /assets/pilotlamp.css HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n" * 50
    _hold(port, number, large, "", 1.0, ends_s)


def _hold(port, number, first, feed, pause_s, ends_s):
    """A connection, opened again where it is ended; it sends the feed over and over, or reads where that is None."""
    line = None
    while time.monotonic() < ends_s:
        try:
            if line is None:
                line = socket.create_connection(("127.0.0.1", port), timeout=5, source_address=(_address(number), 0))
                line.sendall(first.encode())
            elif feed is None:
                line.recv(65536)
            else:
                line.sendall(feed.encode())
        except OSError:
            line = None
        time.sleep(pause_s)


VISITS = {
    "tables": (40, _tables),
    "pages": (40, _pages),
    "moments": (40, _moments),
    "trickles": (420, _trickles),
    "streams": (64, _streams),
    "readers": (80, _readers),
}
"""How many visitors of each kind, and what each does."""


def measure(seconds, *, crowd):
    """Figures of one run."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        session = "2026-05-16_13-00-00_fernhollow-show-layout"
        shutil.copytree(RECORDINGS / session, folder / "recordings" / session)
        (folder / "layout.toml").write_text(PLAIN)
        plug = Plug(folder / "usb")
        board = ShortBoard(plug)
        arguments = ("watch", "layout.toml", "--port", f"bench-1={plug.device}", "--web-port", 0, "--share")
        process = pilotlamp(*arguments, cwd=folder)
        address = next(line for line in process.stdout if line.startswith("The page is at ")).split()[-1]
        port = int(address.rstrip("/").rsplit(":", 1)[1])
        heard = []
        threading.Thread(target=_listen, args=(process, heard), daemon=True).start()
        time.sleep(8.0)
        context = multiprocessing.get_context("spawn")
        kinds = VISITS if crowd else ()
        visitors = [context.Process(target=visit, args=(kind, port, session, seconds + 10), daemon=True) for kind in kinds]
        for visitor in visitors:
            visitor.start()
        time.sleep(5.0 if crowd else 0.0)
        figures = _watch(port, board, heard, seconds)
        figures |= {
            "threads": psutil.Process(process.pid).num_threads(),
            "watch_mb": psutil.Process(process.pid).memory_info().rss // 10**6,
        }
        for visitor in visitors:
            visitor.kill()
        process.send_signal(signal.SIGTERM)
        process.wait(120)
        board.stop()
        plug.pull_out()
        return figures


def _listen(process, heard):
    for line in process.stdout:
        if "ACT NOW: Short" in line:
            heard.append(time.monotonic())


def _watch(port, board, heard, seconds):
    """Shorts every few seconds; between them this computer's browser asks for figures and for a page."""
    delays, ages, answers, unwell = [], [], [], 0
    ends_s = time.monotonic() + seconds
    while time.monotonic() < ends_s:
        known, began_s = len(heard), time.monotonic()
        board.short(True)
        while len(heard) == known and time.monotonic() < began_s + 30:
            time.sleep(0.005)
        delays.append(time.monotonic() - began_s)
        board.short(False)
        calm_s = time.monotonic() + CALM_S
        while time.monotonic() < calm_s:
            asked_s = time.monotonic()
            for path in ("/feed/now", "/healthz", "/stalls"):
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
                line.request("GET", path)
                answer = line.getresponse()
                text = answer.read()
                line.close()
                answers.append(time.monotonic() - asked_s)
                asked_s = time.monotonic()
                if path == "/healthz":
                    ages.append(max(row["age_s"] or 0.0 for row in json.loads(text)["districts"]))
                    unwell += answer.status != 200
            time.sleep(0.3)
    return {
        "shorts": len(delays),
        "short_to_warning_s": _spread(delays),
        "age_s": _spread(ages),
        "answer_s": _spread(answers),
        "unwell": unwell,
    }


def _spread(values):
    return [round(float(value), 3) for value in (statistics.median(values), np.quantile(values, 0.99), max(values))]


def main():
    """Measure both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    for crowd in (False, True):
        print("with the crowd" if crowd else "alone", json.dumps(measure(seconds, crowd=crowd)), flush=True)


if __name__ == "__main__":
    main()
