"""What became of a soak: memory, bytes, scans, warnings in time, the page."""

import collections
import re

import msgspec
import numpy as np

from monitor.sessions import Playback, find_sessions
from tests.bench.soak_boards import intact_scans

IN_TIME_S = 0.5
CALM_S = 50.0
"""A short that follows another sooner is one warning that comes and goes."""


def recorded(soak, recordings):
    """Bytes and scans that the sessions hold, what they say was lost, and how many of each notice."""
    size, losses, notices = 0, [], collections.Counter()
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
            notices.update(f"{kind[:-1]} {name}" for name in rows.values())
    return size, intact_scans(soak.board, sessions), losses, notices


def in_time(soak):
    """Lines about warnings: each short's, and how soon any came to the terminal once the stream had it.

    A short's delay is what real time would have made of it: seconds of the stream until the warning rose, and wall seconds from there
    to the terminal. The soak's own clock makes the latter longer by its speed.
    """
    rows, delays, by_clock, missed = soak.warned(), [], [], []
    for began_s in soak.shorts:
        row = next((r for r in rows if r["rule"] == "short" and began_s <= r["at_s"] < began_s + CALM_S), None)
        if row is None:
            missed.append(round(began_s - soak.began_s, 1))
            continue
        zero_s = row["at_s"] - row["now_s"]
        delays.append(row["start_s"] + zero_s - began_s + (row["now_s"] - row["start_s"]) / soak.speed)
        by_clock.append(row["at_s"] - began_s)
    handling = [(row["now_s"] - row["start_s"]) / soak.speed for row in rows]
    late = [delay for delay in delays if delay > IN_TIME_S]
    return [
        (
            f"shorts: {len(soak.shorts)}, without a warning {len(missed)} {missed[:5]}, later than {IN_TIME_S} s {len(late)};"
            f" delays in real seconds {spread(delays)}, by the soak's clock {spread(by_clock)}"
        ),
        f"all {len(rows)} warnings, wall seconds from rising to the terminal: {spread(handling)}",
    ]


def spread(values):
    """Median, 99th of a hundred, most."""
    return [round(float(value), 3) for value in np.quantile(values, (0.5, 0.99, 1.0))] if values else []


def report(soak, folder):
    """The report's lines."""
    size, scans, losses, notices = recorded(soak, folder / "recordings")
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
            f" ({soak.board.dropped_scans} more were held back by the board because its port was not read in time)"
        ),
        f"dropped because this computer did not keep up, as the terminal told: at least {dropped[-1] if dropped else 0} bytes",
        *in_time(soak),
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
