"""Sizes and speeds of sessions: what an hour takes on the disk, how fast three hours open, zoom and sift.

Usage: python tests/bench/bench_sessions.py   (about a minute)
"""

import resource
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
import pandas as pd
from playwright.sync_api import sync_playwright

from dashboard.app import PageServer
from dashboard.shelf import Shelf
from dashboard.stretch import stretch
from dashboard.views.markup import markup
from dashboard.views.review import sheet
from monitor.cli.demo_sessions import DemoShow, make_demo_sessions
from monitor.cli.sift_session import sift_session
from monitor.layout import parse_layout
from monitor.rehearsal import demo_layout_text
from monitor.sessions import SessionFolder
from monitor.sessions.buckets import FIGURES
from monitor.sessions.csv_export import export_csv
from monitor.sessions.readings_log import ReadingsLog
from monitor.sessions.recorder import Recorder
from monitor.sessions.session_writer import SessionWriter, new_manifest
from monitor.values import Chunk, Step
from tests.browser.hall import CHROMIUM_ARGS, Hall, chromium_path

BEGAN_AT = datetime(2026, 11, 21, 14, tzinfo=UTC)
HOURS, BOARDS, SCREEN = 3, 4, 2000
LINES_S = 600
SIZE_S = 300.0
ZOOM = """() => new Promise(done => {
  const line = document.querySelector("[data-review]").pilotlampLine;
  const began = performance.now();
  const drawn = line.near;
  line.move("in");
  const look = () => line.near !== drawn ? done(performance.now() - began) : requestAnimationFrame(look);
  look();
})"""


def size_of(session):
    return sum(path.stat().st_size for path in session.path.rglob("*") if path.is_file())


def print_size(folder):
    """Four districts of waveforms with converter noise, as the rehearsal board sends them at 500000 baud."""
    show = DemoShow(began_at=BEGAN_AT, seed=7, seconds=SIZE_S)
    session = next(iter(make_demo_sessions(folder, (show,))))
    seconds = session.length_s()
    print(f"four districts of waveforms and readings: {size_of(session) / seconds * 3600 / 1e6:.1f} MB an hour (limit 40)")


def long_session(folder):
    """Three hours of readings of sixteen districts, without raw bytes."""
    text = demo_layout_text([f"p{k}" for k in range(BOARDS)])
    manifest = new_manifest("Long", BEGAN_AT, ports={}, invented=True)
    writer = SessionWriter(folder / "long", text, manifest)
    log: ReadingsLog = writer._readings
    names = [district.name for district in parse_layout(text).district]
    dice = np.random.default_rng(1)
    for part in range(HOURS * 12):
        at_s = part * 300 + np.arange(1500) * 0.2
        rows = len(at_s) * len(names)
        table = {name: dice.normal(5, 1, rows) for name in (*FIGURES, "frequency_hz")}
        table |= {"at_s": np.tile(at_s, len(names)), "district": np.repeat(np.array(names, dtype=object), len(at_s))}
        log.write(table | {"readings": np.full(rows, 24)})
        log.next_part(part + 2)
    writer.now_s = HOURS * 3600.0
    writer.close("bench")
    return SessionFolder(folder / "long")


def print_review(folder):
    """On the server alone, then in a browser; beside it what reading the same readings as CSV takes."""
    session = long_session(folder)
    began, began_cpu = time.perf_counter(), time.process_time()
    shelf = Shelf(folder)
    opened = shelf.open(shelf.find(session.name))
    sheet_bytes = len(markup(sheet([opened])))
    whole = stretch(opened, opened.first_s, opened.last_s, SCREEN)
    seconds = time.perf_counter() - began
    sizes = f"sheet ({sheet_bytes / 1e3:.0f} kB) and traces ({len(whole) / 1e3:.0f} kB)"
    cpu = time.process_time() - began_cpu
    print(f"{HOURS} h, {len(opened.courses)} districts: {sizes} in {seconds:.2f} s, {cpu:.2f} s of them computing")
    began = time.perf_counter()
    stretch(opened, 3600.0, 4200.0, SCREEN)
    print(f"zoom to ten minutes, all districts: {(time.perf_counter() - began) * 1000:.0f} ms")
    print_browser(folder, session.name)
    print(f"memory of the server at most: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB (limit 1000)")
    export_csv(session, folder / "long.csv")
    began = time.perf_counter()
    rows = len(pd.read_csv(folder / "long.csv"))
    print(f"beside it, pandas.read_csv of the same {rows} rows: {time.perf_counter() - began:.2f} s")
    assert opened.figures.duration_s == HOURS * 3600


def print_browser(folder, name):
    """From the address typed to the traces drawn, by a browser that has the program's scripts but not the session."""
    hall = Hall(4)
    hall.recordings = folder
    server = PageServer(hall.start(), port=0)
    server.start()
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        page = chromium.new_page(viewport={"width": 1920, "height": 1080})
        page.goto(f"{server.address}stalls")
        page.wait_for_selector("#stall-list")
        began = time.perf_counter()
        page.goto(f"{server.address}review?session={name}")
        page.wait_for_selector("[data-shown]", timeout=120_000)
        print(f"in Chromium, from address to traces: {time.perf_counter() - began:.2f} s (limit 2)")
        zooms = [page.evaluate(ZOOM) for _ in range(5)]
        print(f"in Chromium, from key to finer traces: {sorted(zooms)[2]:.0f} ms (limit 300)")
        chromium.close()
    server.close()
    hall.stop()


def print_sift(folder):
    """Sixteen outputs of line boards, five readings a second each."""
    text = demo_layout_text([f"p{k}" for k in range(BOARDS)])
    recorder = Recorder(folder / "lines", text, began_at=BEGAN_AT, reserve_bytes=0)
    for ms in range(0, LINES_S * 1000, 200):
        for board in range(BOARDS):
            head = f"b,bench-{board + 1},4,200\n" if ms % 1000 == 0 else ""
            lines = "".join(f"r,{ms},{k},14.{ms // 200 % 90:02d},2.{ms // 100 % 90:02d},30.1\n" for k in range(4))
            came_s = ms / 1000 + 0.01
            recorder.put(Step(port=f"p{board}", chunk=Chunk(data=(head + lines).encode(), received_s=came_s), now_s=came_s))
        recorder.keep_up(1_000_000)
    recorder.close()
    began, began_cpu = time.perf_counter(), time.process_time()
    sifted = sift_session(recorder.status().folder, None)
    seconds, cpu = time.perf_counter() - began, time.process_time() - began_cpu
    print(
        f"sift of a session of readings, 16 districts: {LINES_S / seconds:.0f} times real time (aim 2000), "
        f"{LINES_S / cpu:.0f} times by computing time"
    )
    assert sifted.summary.duration_s > LINES_S - 2


def main():
    with tempfile.TemporaryDirectory() as folder:
        print_review(Path(folder))
        print_sift(Path(folder))
        print_size(Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
