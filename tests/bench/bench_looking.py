"""What looking costs watching: ``python -m tests.bench.bench_looking [--seconds N]``.

A watch of one board (a pty) with its page, once alone and once while visitors do what they should not: 40 that fetch the table of a
session over and over, 420 connections that trickle a header line every 7 s, 64 event streams, 80 readers that never read. Meanwhile
short circuits come on the wire; printed are the times from the bytes of a short to its warning on the terminal, the age of the figures
that this computer's own browser gets, and how soon it gets them.
"""

import argparse
import contextlib
import http.client
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
TABLES, TRICKLES, STREAMS, READERS = 40, 420, 64, 80
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
    ends_s = time.monotonic() + seconds
    host = f"Host: 127.0.0.1:{port}\r\n"
    stream = f"GET /feed/stream HTTP/1.1\r\n{host}\r\n"
    large = f"GET /assets/pilotlamp.css HTTP/1.1\r\n{host}\r\n" * 50
    count, work = {
        "tables": (TABLES, lambda k: _fetch_tables(port, session, k, ends_s)),
        "trickles": (TRICKLES, lambda k: _hold(port, k, "GET / HTTP/1.1\r\n", "X-A: b\r\n", 7.0, ends_s)),
        "streams": (STREAMS, lambda k: _hold(port, k, stream, None, 0.1, ends_s)),
        "readers": (READERS, lambda k: _hold(port, k, large, "", 1.0, ends_s)),
    }[kind]
    threads = [threading.Thread(target=work, args=(k,), daemon=True) for k in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(seconds + 60)


def _fetch_tables(port, session, number, ends_s):
    headers = {"X-Forwarded-For": f"192.0.2.{number}"}
    while time.monotonic() < ends_s:
        with contextlib.suppress(OSError, http.client.HTTPException):
            line = http.client.HTTPConnection("127.0.0.1", port, timeout=60, source_address=(_address(number), 0))
            line.request("GET", f"/review/table.csv?session={session}", headers=headers)
            line.getresponse().read()
            line.close()


def _address(number):
    return f"127.0.0.{2 + number % ADDRESSES}"


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
        kinds = ("tables", "trickles", "streams", "readers") if crowd else ()
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
