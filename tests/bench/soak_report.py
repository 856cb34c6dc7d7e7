"""What became of a soak: memory, bytes, scans, warnings in time, the page."""

import collections
import re

import msgspec
import numpy as np

from monitor.sessions import Playback, find_sessions
from tests.bench.soak_boards import intact_scans

IN_TIME_S = 0.5
SHOWN_S, AFTER_FAULT_S, GAP_S = 4.0, 60.0, 2.0
"""Seconds in which a short is looked for; after a fault in which a missing line is put down to it; between two gaps."""
CALM_S = 50.0
"""A short that follows another sooner is one warning that comes and goes."""


def recorded(soak, recordings):
    """Bytes and scans that the sessions hold, when lines were missed, what they say was lost, how many of each notice, and events."""
    size, losses, notices, events = 0, [], collections.Counter(), []
    sessions = list(find_sessions(recordings))
    for session in sessions:
        playback = Playback(session)
        size += sum(len(played.chunk.data) for played in playback)
        closing = session.closing()
        losses += [*playback.damage, *(closing.losses if closing is not None else ("not closed",))]
        for kind, word in (("warnings", "rule"), ("events", "cause"), ("findings", "kind")):
            rows = {}
            path = session.notices(kind)
            for line in path.read_bytes().splitlines() if path.exists() else ():
                row = msgspec.json.decode(line)
                rows[row["id"]] = f"{row.get('priority', '')} {row[word]}".strip()
                if kind == "events":
                    events.append(row)
            notices.update(f"{kind[:-1]} {name}" for name in rows.values())
    return size, *intact_scans(soak.board, sessions), losses, notices, events


def in_time(soak, missing, events):
    """Lines about warnings: each short's, and how soon any came to the terminal once the stream had it.

    A short begins when the port took its first scan. Its delay is what real time would have made of it: seconds of the stream until
    the warning rose, and wall seconds from there to the terminal. The soak's own clock makes the latter longer by its speed.
    """
    rows, delays, by_clock, missed, late = soak.warned(), [], [], [], []
    zero_s = rows[0]["at_s"] - rows[0]["now_s"] if rows else 0.0
    for began_s in soak.shorts:
        row = next((r for r in rows if r["rule"] == "short" and began_s <= r["at_s"] < began_s + CALM_S), None)
        if row is None:
            missed.append(f"{began_s - soak.began_s:.1f} s: {why_unwarned(soak, began_s, rows, missing, events, zero_s)}")
            continue
        stream_s, handling_s = row["start_s"] + zero_s - began_s, (row["now_s"] - row["start_s"]) / soak.speed
        delays.append(stream_s + handling_s)
        by_clock.append(row["at_s"] - began_s)
        if delays[-1] > IN_TIME_S:
            late.append(
                f"{began_s - soak.began_s:.1f} s: {stream_s:.2f} s until it rose, {handling_s:.2f} s to the terminal,"
                f" after {latest_fault(soak, began_s)}"
            )
    handling = [(row["now_s"] - row["start_s"]) / soak.speed for row in rows]
    return [
        (
            f"shorts: {len(soak.shorts)} ({soak.unsent_shorts} more never reached the port), without a warning {len(missed)},"
            f" later than {IN_TIME_S} s {len(late)}; median, p99 and most of the delays in real seconds {spread(delays)},"
            f" by the soak's clock {spread(by_clock)}"
        ),
        *(f"  without a warning, {each}" for each in missed),
        *(f"  late, {each}" for each in late),
        f"all {len(rows)} warnings, wall seconds from rising to the terminal: {spread(handling)}",
    ]


def why_unwarned(soak, began_s, rows, missing, events, zero_s):
    """What is known of a short without a warning."""
    reasons, until_s = [], began_s + SHOWN_S
    if lost := sum(began_s <= at_s < until_s for at_s in missing):
        reasons.append(f"{lost} of its lines were not received")
    if any(row["rule"] == "short" and began_s - CALM_S <= row["at_s"] < began_s for row in rows):
        reasons.append("a warning of a short was there already")
    if any(row["at_s"] - row["now_s"] - zero_s > SHOWN_S for row in rows):
        reasons.append("the program's clock and the soak's parted")
    there = {
        f"{row['cause']} in {row['district']}"
        for row in events
        if row["start_s"] + zero_s < until_s and (row["end_s"] is None or row["end_s"] + zero_s > began_s)
    }
    reasons += [f"there was {each}" for each in sorted(there)]
    return "; ".join(reasons or ["no reason was found"]) + f"; after {latest_fault(soak, began_s)}"


def latest_fault(soak, at_s):
    """The fault that began last before a moment, and how long ago it ended."""
    before = [(name, ended_s) for name, began_s, ended_s in soak.stretches if began_s <= at_s and name != "short"]
    return f"{before[-1][0]} ({max(0.0, at_s - before[-1][1]):.0f} s ago)" if before else "nothing"


def by_fault(soak, missing):
    """Lines missed, by the fault that began last before each, and how many gaps they make."""
    counts, gaps = collections.Counter(), collections.Counter()
    names = [name for name, *_ in soak.stretches]
    began = np.array([began_s for _, began_s, _ in soak.stretches])
    ended = [ended_s for *_, ended_s in soak.stretches]
    before_s = -np.inf
    for at_s in missing:
        k = int(np.searchsorted(began, at_s, "right")) - 1
        name = "no fault" if k < 0 or at_s > ended[k] + AFTER_FAULT_S else names[k]
        counts[name] += 1
        gaps[name] += at_s - before_s > GAP_S
        before_s = at_s
    return ", ".join(f"{counts[name]} in {gaps[name]} gaps after {name}" for name in sorted(counts)) or "none"


def spread(values):
    """Median, 99th of a hundred, most."""
    return [round(float(value), 3) for value in np.quantile(values, (0.5, 0.99, 1.0))] if values else []


def report(soak, folder):
    """The report's lines."""
    size, scans, missing, losses, notices, events = recorded(soak, folder / "recordings")
    said = soak.said.read_text()
    dropped = re.findall(r"does not keep up: (\d+) bytes", said)
    settled = [row for row in soak.samples if row["at_h"] > min(1.0, soak.hours / 4)] or soak.samples
    cpu_s, speed = soak.samples[-1]["cpu_s"], soak.hours * 3600 / soak.wall_s
    hours_run = np.array([row["at_h"] for row in settled])
    lines = [
        f"{soak.form}: {soak.hours:.2f} h at {speed:.1f} times real time, {sum(soak.faults.values())} faults: {dict(soak.faults)}"
    ]
    for name in ("rss_mb", "page_mb", "handles", "threads"):
        values = np.array([row[name] for row in settled])
        slope = np.polyfit(hours_run, values, 1)[0] if len(values) > 2 and np.ptp(hours_run) > 0 else 0.0
        quarters = [round(float(np.median(part)), 1) for part in np.array_split(values, 4) if len(part)]
        lines.append(f"{name}: quarters' medians {quarters}, highest {values.max():g}, {slope:+.3f} an hour")
    lines += [
        f"processor: {cpu_s / soak.wall_s:.2f} of a core, {cpu_s / soak.hours:.0f} s an hour of the show",
        f"bytes: {soak.board.bytes_sent} taken by the port, {size} recorded, {soak.board.bytes_sent - size} lost",
        (
            f"scans: {soak.board.intact_scans} sent whole, {scans} recorded, {soak.board.intact_scans - scans} lost"
            f" ({soak.board.dropped_scans} more never reached the port: the board held them back because it was full)"
        ),
        f"lines that the port took and no session holds: {by_fault(soak, missing)}",
        f"dropped because this computer did not keep up, as the terminal told: at least {dropped[-1] if dropped else 0} bytes",
        *in_time(soak, missing, events),
        f"crowds of visitors: {dict(soak.crowds)}",
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
