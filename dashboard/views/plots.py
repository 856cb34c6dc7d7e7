"""Plots as plain values, drawn by the pages' one chart: the last minutes of a district, and the moment of an event."""

from typing import Any

import msgspec
import numpy as np
from dash import html
from dash.development.base_component import Component
from numpy.typing import NDArray

from dashboard.views.attributes import aria, hook
from monitor.runtime.trend import BUCKET_S, TrendWindow
from monitor.sessions.pictures import downsampled
from monitor.values import Event, Snapshot
from monitor.words.figures import seconds

Json = dict[str, Any]
Floating = NDArray[np.floating[Any]]
HISTORY_POINTS = 600
"""Drawn at most; lows of volts and peaks of amps are kept when buckets are drawn together."""
MOMENT_POINTS = 4000
NEIGHBOURS = 3
"""Further districts that are drawn: those on the same supply come first."""
BEFORE_S = 0.3
ENOUGH = 0.95
"""Of a cycle: less of it would not give its RMS."""


def plot(drawn: Json, words: str) -> Component:
    """A canvas for a plot, with what it shows in words."""
    return html.Canvas(className="plot", role="img", **hook(plot=msgspec.json.encode(drawn).decode()), **aria(label=words))


def history_plot(window: TrendWindow, now_s: float) -> Json:
    """Volts above, amps below, against minutes ago, of one district."""
    step = max(1, len(window.volts_rms) // HISTORY_POINTS)
    minutes = [round(value, 4) for value in ((window.start_s[::step] + BUCKET_S * step / 2 - now_s) / 60).tolist()]

    def line(kind: str, table: Floating, how: np.ufunc | None) -> Json:
        return {"kind": kind, "at": minutes, "values": _together(table, step, how)}

    volts = [line("low", window.volts_lowest, np.fmin), line("volts", window.volts_rms, None)]
    amps = [line("high", window.amps_highest, np.fmax), line("amps", window.amps_rms, None)]
    return {
        "from": -10,
        "to": 0,
        "unit": "min",
        "hole": 0.1,
        "axes": [{"name": "volts", "lines": volts}, {"name": "amps", "lines": amps}],
    }


def _together(table: Floating, step: int, how: np.ufunc | None) -> list[float | None]:
    values = table.reshape(-1).astype(np.float64)
    values = values[::step] if how is None or step == 1 else how.reduceat(values, np.arange(0, len(values), step))
    return [None if value != value else round(value, 3) for value in values.tolist()]  # noqa: PLR0124 - NaN


def moment_plot(snapshot: Snapshot | None, event: Event, hertz: float) -> Json:
    """Volts above, amps below, seconds from the event's start across: the course of RMS, and the waves for those who ask.

    Args:
        snapshot: The samples; None draws empty axes with the event's marks.
        event: The event.
        hertz: The mains: RMS is taken over one of its cycles.
    """
    end_s = None if event.end_s is None else event.end_s - event.start_s
    span_s = 1.2 if snapshot is None else snapshot.end_s - event.start_s
    drawn: Json = {
        "from": -BEFORE_S, "to": round(span_s, 4), "unit": "s", "hole": 0.05,
        "shade": [0, round(span_s if end_s is None else min(end_s, span_s), 4)], "notes": _notes(end_s, span_s),
    }  # fmt: skip
    for name, is_wave in (("axes", False), ("waves", True)):
        drawn[name] = [
            {
                "name": words,
                "signed": is_wave,
                "usual": _usual(event, key, is_wave=is_wave),
                "lines": [] if snapshot is None else _lines(snapshot, event, quantity, 0.0 if is_wave else hertz),
            }
            for words, quantity, key in (("volts", "V", "volts_before"), ("amps", "A", "amps_before"))
        ]
    return drawn


def _usual(event: Event, key: str, *, is_wave: bool) -> float | None:
    """What is usual there: its RMS, or the peak of an AC wave of it, the square root of two times as high."""
    usual = event.evidence.get(key)
    return None if usual is None or usual != usual else round(usual * (2**0.5 if is_wave else 1.0), 3)  # noqa: PLR0124 - NaN


def _lines(snapshot: Snapshot, event: Event, quantity: str, hertz: float) -> list[Json]:
    """One line a district, the event's own last, so that it is drawn on top."""
    at_s = snapshot.start_s - event.start_s + np.arange(len(snapshot.values), dtype=np.float64) * snapshot.interval_s
    names = list(dict.fromkeys(channel.district for channel in snapshot.channels))[: NEIGHBOURS + 1]
    lines = []
    for column, channel in reversed(list(enumerate(snapshot.channels))):
        if channel.quantity != quantity or channel.district not in names:
            continue
        values = snapshot.values[:, column].astype(np.float64)
        if hertz:
            values = rms_course(values, max(1, round(1 / hertz / snapshot.interval_s)))
        shown_s, shown = _few(at_s + channel.skew_s, values)
        kind = "other" if channel.district != names[0] else "volts" if quantity == "V" else "amps"
        figures = [None if value != value else round(value, 3) for value in shown.tolist()]  # noqa: PLR0124 - NaN
        lines.append(
            {"kind": kind, "name": channel.district, "at": [round(each, 5) for each in shown_s.tolist()], "values": figures}
        )
    return lines


def rms_course(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """RMS over a window that slides along, as long as the values; NaN where too little of a window is known.

    Args:
        values: Samples; NaN where scans were lost.
        width: Samples of the window: one cycle.
    """
    known = np.isfinite(values)
    window = np.ones(width)
    squares = np.convolve(np.where(known, values, 0.0) ** 2, window, "same")
    counts = np.convolve(known.astype(np.float64), window, "same")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(counts >= ENOUGH * width, np.sqrt(squares / counts), np.nan)


def _few(at_s: NDArray[np.float64], values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """As they are where a browser draws them at once, else lowest and highest of each stretch."""
    return (at_s, values) if len(values) <= MOMENT_POINTS else downsampled(at_s, values, MOMENT_POINTS)


def _notes(end_s: float | None, span_s: float) -> list[tuple[float, str]]:
    began = (0.0, "began")
    if end_s is None:
        return [began, (span_s, "goes on →")]
    if end_s >= span_s:
        return [began, (span_s, f"ended after {seconds(end_s)} →")]
    return [began, (round(end_s, 4), "ended")]
