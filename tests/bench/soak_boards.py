"""The boards of the soak: the show on a packed board of four or two districts, or as lines of readings; and what was recorded of it."""

import collections
import re
from dataclasses import replace

import numpy as np

from monitor.rehearsal import fernhollow_show
from monitor.rehearsal.fernhollow import fernhollow_bench
from monitor.rehearsal.scene import layout_text
from monitor.sessions import Playback
from monitor.values import Identity
from monitor.wire import PackedDecoder, SampleRun
from tests.faults.hostile_board import HostileBoard

PLAYED_S = 600.0
LINES_EVERY_S = 0.1
SHORT_VOLTS, SHORT_AMPS, HERTZ = 1.2, 20.0, 60.0
"""In the first district, whose supply may give 8 A."""
FORMS = ("packed", "packed-2", "lines")


class LineBoard(HostileBoard):
    """Prints milliseconds, then volts and amps of each district, and keeps every line that the port took unhurt."""

    DELIMITER, SCANS = b"\n", 1

    def __init__(self, *args, **how):
        self.sent = []
        super().__init__(*args, **how)

    def _introduce(self):
        pass

    def _scans(self, figures):
        figures = " ".join(f"{figure:.2f}" for figure in figures[0])
        return f"{round(self._index * LINES_EVERY_S * 1000)} {figures}\n".encode()

    def _flush(self):
        line, waits = self._whole, self._rest_scans and self._rest
        is_free = super()._flush()
        if waits and is_free:
            self.sent.append((line, self.last_sent_at_s))
        return is_free

    def _add(self, data):
        self._whole = data.rstrip()
        return super()._add(data)

    _whole = b""


def board_and_layout(form, link, **how):
    """A board of that form, and its layout file's text."""
    identity, counts = played_counts()
    spec, far_short = fernhollow_bench(0), shorted(identity, counts)
    if form == "packed-2":
        spec = replace(spec, supplies=spec.supplies[:1], districts=spec.districts[:2], trains=spec.trains[:2], spots=())
        identity, counts, far_short = replace(identity, channels=identity.channels[:4]), counts[:, :4], far_short[:, :4]
    text = layout_text([spec], [str(link)], is_checked=True)
    if form != "lines":
        board = HostileBoard(link, identity, counts, **how)
        board.shorted_form = far_short
        return board, text
    outputs = "".join(f"[[board.lines.output]]\nvolts = {2 + 2 * k}\namps = {3 + 2 * k}\n" for k in range(4))
    mapping = f'\n[board.lines]\nform = "values"\ntime_ms = 1\n{outputs}'
    board = LineBoard(link, replace(identity, scan_interval_s=LINES_EVERY_S), rms(identity, counts), **how)
    board.shorted_form = rms(identity, far_short)
    return board, text.replace("\n[[supply]]", f"{mapping}\n[[supply]]", 1)


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


def shorted(identity, counts):
    """The same with a short circuit in the first district all the time."""
    wave = np.sqrt(2) * np.sin(2 * np.pi * HERTZ * identity.scan_interval_s * np.arange(len(counts)))
    changed = counts.copy()
    for k, size in enumerate((SHORT_VOLTS, SHORT_AMPS)):
        channel = identity.channels[k]
        changed[:, k] = np.clip(np.round(channel.zero_counts + wave * size / channel.units_per_count), 0, 1023)
    return changed


def rms(identity, counts):
    """What a sketch would print of it, a row each tenth of a second."""
    scans = round(LINES_EVERY_S / identity.scan_interval_s)
    zeros, units = np.array([(channel.zero_counts, channel.units_per_count) for channel in identity.channels]).T
    figures = (counts[: len(counts) // scans * scans] - zeros) * units
    return np.sqrt(np.mean(figures.reshape(-1, scans, len(units)) ** 2, axis=1))


def intact_scans(board, sessions):
    """Scans in packets, or lines, that the recordings hold of those that the port took whole and unhurt; and when lines were missed."""
    if not isinstance(board, LineBoard):
        return sum(_scans(session) for session in sessions), []
    lines = collections.Counter(
        line.strip() for session in sessions for line in re.split(rb"[\r\n]", b"".join(c.chunk.data for c in Playback(session)))
    )
    missing = []
    for line, at_s in board.sent:
        lines[line] -= 1
        if lines[line] < 0:
            missing.append(at_s)
    return len(board.sent) - len(missing), missing


def _scans(session):
    scans, decoder = 0, PackedDecoder()
    for played in Playback(session):
        if played.chunk.reopened:
            decoder = PackedDecoder()
        scans += sum(len(item.counts) for item in decoder.feed(played.chunk.data) if isinstance(item, SampleRun))
    return scans
