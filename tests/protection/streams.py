"""Readings of one board with draws given as functions of time, for tests of the judge."""

import itertools

import numpy as np

from monitor.layout import parse_layout
from monitor.protection import Judge
from monitor.values import ReadingBlock
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

HALF_CYCLE_S = 1 / 120

HEAD = head_text() + supply_text("North bench")
DISTRICTS = "".join(
    output_text("AB"[at], "North bench") + district_text(at, name, "North bench", "AB"[at])
    for at, name in enumerate(("Outer main", "Inner main"))
)
PLAIN = "[supply.protection]\nkind = 'thermal'\nrated_amps = 10\npoints = [[1.35, 79.562], [2.0, 28.7682], [3.0, 11.7783]]\n"
"""Points of a replica with a time constant of 100 s that holds its rated amps."""


def layout_with(protection=PLAIN, more=""):
    return parse_layout(HEAD + protection + DISTRICTS + more)


def block(end_s, volts, amps):
    """A reading block; volts and amps shape (n, 2)."""
    none = np.full(volts.shape, np.nan)
    return ReadingBlock(
        board="bench-1", districts=("Outer main", "Inner main"), start_s=end_s - 2 * HALF_CYCLE_S, end_s=end_s,
        volts_rms=volts, amps_rms=amps, volts_mean=none, amps_mean=none, watts=volts * amps, volts_peak=none, amps_peak=none,
        far_volts_rms=none, frequency_hz=np.full(len(end_s), 60.0),
    )  # fmt: skip


def readings(seconds, outer, inner=lambda t: 1.0 + 0 * t, volts=lambda t: 14.0 + 0 * t, interval_s=HALF_CYCLE_S):
    """A block of readings, amps of both districts as functions of time."""
    end_s = np.arange(1, round(seconds / interval_s) + 1) * interval_s
    return block(end_s, np.stack([volts(end_s)] * 2, axis=1), np.stack([outer(end_s), inner(end_s)], axis=1))


def cut(whole, pieces):
    """The block in pieces at some rows."""
    edges = [0, *sorted(pieces), len(whole)]
    return [block(whole.end_s[a:b], whole.volts_rms[a:b], whole.amps_rms[a:b]) for a, b in itertools.pairwise(edges) if b > a]


def judged(layout, whole, pieces=()):
    """The last word about each warning, in order of ids, and the judge."""
    judge, last = Judge(layout), {}
    for part in cut(whole, pieces):
        for warning in [*judge.feed(part), *judge.tick(float(part.end_s[-1]))]:
            last[warning.id] = warning
    for warning in judge.finish(float(whole.end_s[-1])):
        last[warning.id] = warning
    return list(last.values()), judge
