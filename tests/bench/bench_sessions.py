"""Sizes and speeds of sessions: what an hour takes on the disk, how fast three hours open, zoom and sift.

Usage: python -m tests.bench.bench_sessions   (some minutes)
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np
import pandas as pd
from playwright.sync_api import sync_playwright

from dashboard.app import PageServer
from dashboard.session_cache import SessionCache
from dashboard.session_jobs import stretch
from dashboard.views.markup import markup
from dashboard.views.review import sheet
from monitor.cli.demo_sessions import DemoShow, make_demo_sessions
from monitor.layout import parse_layout
from monitor.rehearsal import demo_layout_text
from monitor.sessions import SessionFolder
from monitor.sessions.buckets import FIGURES
from monitor.sessions.csv_export import export_csv
from monitor.sessions.description import new_manifest
from monitor.sessions.readings_log import LATER_COLUMNS, ReadingsLog
from monitor.sessions.session_writer import SessionWriter
from tests.bench.evening_of_readings import A_SECOND, BEGAN_AT, OUTPUTS, lively, overloaded, recorded
from tests.browser.hall import CHROMIUM_ARGS, Hall, chromium_path

HOURS, BOARDS, SCREEN = 3, 4, 2000
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
    writer = SessionWriter.begin(folder / "long", text, manifest)
    log: ReadingsLog = writer._readings
    names = [district.name for district in parse_layout(text).district]
    dice = np.random.default_rng(1)
    for part in range(HOURS * 12):
        at_s = part * 300 + np.arange(1500) * 0.2
        rows = len(at_s) * len(names)
        table = {name: dice.normal(5, 1, rows) for name in (*FIGURES, "frequency_hz")}
        table |= {"at_s": np.tile(at_s, len(names)), "district": np.repeat(np.array(names, dtype=object), len(at_s))}
        log.write(
            {name: np.zeros(rows) for name in LATER_COLUMNS}
            | table
            | {"readings": np.full(rows, 24), "seconds": np.full(rows, 0.2)}
        )
        log.next_part(part + 2)
    writer.now_s = HOURS * 3600.0
    writer.close("bench")
    return SessionFolder(folder / "long")


def print_review(folder):
    """On the server alone, then in a browser; beside it what reading the same readings as CSV takes."""
    session = long_session(folder)
    began, began_cpu = time.perf_counter(), time.process_time()
    shelf = SessionCache(folder)
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
    """Three hours of sixteen outputs of line boards, five readings a second each, as a program of its own."""
    seconds = HOURS * 3600
    figures = {"lively": lively(BOARDS, seconds), "every supply overloaded all the time": overloaded(BOARDS, seconds)}
    for kind, each in figures.items():
        session = recorded(folder / kind.partition(" ")[0], each, BOARDS)
        took_s, computing_s, lines = sift_process(session)
        print(
            f"sift of {HOURS} h of readings, {BOARDS * OUTPUTS} districts, {kind}: {took_s:.1f} s, {seconds / took_s:.0f} times real time "
            f"(aim 2000), {computing_s:.1f} s of them computing ({seconds / computing_s:.0f} times), {len(lines)} lines"
        )
        assert lines[-1]["kind"] == "summary"
        assert abs(lines[-1]["duration_s"] - seconds) < 1
    volts, amps, watts = figures["lively"]
    rounds, districts = volts.shape
    names = np.tile([f"district {k}" for k in range(districts)], rounds)
    table = {"at_s": np.repeat(np.arange(rounds) / A_SECOND, districts), "district": names}
    table |= {"volts_rms": volts.ravel(), "amps_rms": amps.ravel(), "watts": watts.ravel()}
    pd.DataFrame(table).round(3).to_csv(folder / "readings.csv", index=False)
    began = time.perf_counter()
    rows = len(pd.read_csv(folder / "readings.csv"))
    print(f"beside it, pandas.read_csv of the same {rows} readings: {time.perf_counter() - began:.2f} s")


def sift_process(session):
    """Seconds that the command takes from its start to its end, seconds of them computing, and its lines."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "monitor", "sift", session, "--json"]
    said = subprocess.run(command, capture_output=True, check=True, cwd=ROOT)
    took_s, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    computing_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return took_s, computing_s, [json.loads(line) for line in said.stdout.splitlines()]


def main():
    with tempfile.TemporaryDirectory() as folder:
        print_review(Path(folder))
        print_sift(Path(folder))
        print_size(Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
