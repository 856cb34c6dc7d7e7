"""How soon an event is on the page: ``python -m tests.bench.bench_event_delay [KIND ...]`` (some minutes; needs Chromium).

First from an event's end to the step that tells it, over rehearsed scenes cut as a port reader cuts them; then from that step to
what is seen on the Stalls page. Wanted: both together under 1 s.
"""

import sys
import time
from collections import defaultdict

import numpy as np
from playwright.sync_api import sync_playwright

from dashboard.app import PageServer
from monitor.layout import parse_layout
from monitor.rehearsal import capture, random_scene
from monitor.runtime.replay import session_pipeline
from monitor.values import Cause, Chunk, Event
from tests.browser.hall import CHROMIUM_ARGS, Hall, chromium_path

KINDS = ("mixed", "fixed-spot", "weak-joint", "short", "overload", "supply-sag", "feed-lost", "binding")
SEED = 31
CHUNK_S = 0.025
LATE_S = 0.004
SHOWN = 40
WANTED_S = 1.0
SEEN = """id => new Promise(done => {
  const look = () => document.querySelector(`[data-event="${id}"]`)
    ? requestAnimationFrame(() => done(performance.timeOrigin + performance.now())) : setTimeout(look, 5);
  look();
})"""


def main(kinds):
    """Run both parts."""
    told, samples = defaultdict(list), []
    for kind in kinds:
        for event, told_s, cut_s in delays(kind):
            told[event.cause.value].append(told_s)
            samples.append(cut_s)
    print(f"{'from its end to the step that tells it':40}{'n':>5}{'median':>9}{'p95':>8}{'most':>8}   seconds")
    for cause in sorted(told):
        line(cause, told[cause])
    everything = [each for values in told.values() for each in values]
    line("all", everything)
    line("its samples (all but those longer than 2 s)", samples)
    shown = page_delays()
    line("from the step to the Stalls page", shown)
    faults = [each for cause, values in told.items() if Cause(cause).is_fault for each in values]
    for name, values in (("faults", faults), ("all", everything)):
        # Each delay of the one kind with each of the other.
        total_s = np.add.outer(np.array(values), np.array(shown)).ravel()
        high_s, late = np.percentile(total_s, 95), np.mean(total_s > WANTED_S)
        print(f"both together, {name}: p95 {high_s:.2f} s, {late:.1%} later than {WANTED_S:g} s   wanted: none")


def line(name, values):
    """One row of the table."""
    known = [each for each in values if each is not None]
    if known:
        median, high, most = np.median(known), np.percentile(known, 95), max(known)
        print(f"{name:40}{len(known):5}{median:9.2f}{high:8.2f}{most:8.2f}")


def delays(kind):
    """Each event of a scene that ended, with the seconds until it was told as ended, and until its samples were there."""
    played = capture(random_scene(kind, SEED))
    pipeline = session_pipeline(parse_layout(played.layout))
    size = round(len(played.wire) / played.truth["seconds"] * CHUNK_S)
    told, cut, events = {}, {}, {}
    for k in range(len(played.wire) // size):
        received_s = round((k + 1) * CHUNK_S + LATE_S, 6)
        step = pipeline.feed("bench", Chunk(data=played.wire[k * size : (k + 1) * size], received_s=received_s))
        for event in step.events:
            events[event.id] = event
            if event.end_s is not None:
                told.setdefault(event.id, received_s)
        for snapshot in step.snapshots:
            cut[snapshot.event_id] = received_s
    for number, at_s in told.items():
        event = events[number]
        short = event.end_s - event.start_s < 1.9
        yield event, at_s - event.end_s, cut[number] - event.end_s if short and number in cut else None


def page_delays():
    """Seconds from publishing an event to its line on the Stalls page, the list as full as it gets."""
    hall = Hall(16)
    hall.start()
    server = PageServer(hall, port=0)
    server.start()
    shown = []
    try:
        with sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
            page = chromium.new_page(viewport={"width": 1920, "height": 1080})
            hall.publish(events=tuple(lost(number, hall.now_s()) for number in range(1, 201)))
            page.goto(f"{server.address}stalls")
            page.wait_for_selector('[data-event="200"]')
            page.wait_for_timeout(2000)
            for number in range(1001, 1001 + SHOWN):
                page.wait_for_timeout(np.random.default_rng(number).uniform(300, 900))
                began_s = time.time_ns() / 1e9
                hall.publish(events=(lost(number, hall.now_s()),))
                shown.append(page.evaluate(SEEN, number) / 1000 - began_s)
            chromium.close()
    finally:
        server.close()
        hall.stop()
    return shown


def lost(number, now_s):
    """A lost contact that ended just now."""
    return Event(id=number, district="Outer main", cause=Cause.LOST_CONTACT, start_s=now_s - 0.2, end_s=now_s, confidence=0.9)


if __name__ == "__main__":
    main(sys.argv[1:] or KINDS)
