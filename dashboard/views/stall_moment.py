"""The moment of an event as a plot: volts and amps as sampled, where it began and ended, the usual, the neighbours."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.views.history import AMPS, LINE, TEXT, VOLTS
from monitor.sessions.pictures import downsampled
from monitor.standing.words import seconds
from monitor.values import Event, Snapshot

Floats = NDArray[np.floating[Any]]

NEIGHBOUR = "rgba(139,149,155,0.55)"
NEIGHBOURS = 3
"""Further districts that are drawn: those on the same supply come first."""
POINTS = 4000


def moment_figure(snapshot: Snapshot | None, event: Event) -> dict[str, object]:
    """Volts above, amps below, seconds from the event's start across; a plain dictionary.

    Args:
        snapshot: The samples; None draws empty axes with the event's marks.
        event: The event.
    """
    traces = [] if snapshot is None else _traces(snapshot, event)
    end_s = None if event.end_s is None else event.end_s - event.start_s
    span_s = 1.2 if snapshot is None else snapshot.start_s + len(snapshot.values) * snapshot.interval_s - event.start_s
    axis = {"gridcolor": LINE, "zerolinecolor": TEXT, "fixedrange": False}
    return {
        "data": traces,
        "layout": {
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"color": TEXT, "size": 14},
            "margin": {"l": 50, "r": 10, "t": 24, "b": 44},
            "showlegend": False,
            "xaxis": {
                "title": {"text": "seconds from its beginning"}, "gridcolor": LINE, "zeroline": False, "anchor": "y2",
                "range": [-0.3, span_s],
            },
            "yaxis": {**axis, "domain": [0.55, 1.0], "title": {"text": "volts"}},
            "yaxis2": {**axis, "domain": [0.0, 0.45], "title": {"text": "amps"}},
            "shapes": _marks(event, end_s, span_s),
            "annotations": _notes(end_s, span_s),
            "hovermode": "x",
            "uirevision": f"event {event.id}",
        },
    }  # fmt: skip


def _traces(snapshot: Snapshot, event: Event) -> list[dict[str, object]]:
    at_s = snapshot.start_s - event.start_s + np.arange(len(snapshot.values)) * snapshot.interval_s
    names = list(dict.fromkeys(channel.district for channel in snapshot.channels))[: NEIGHBOURS + 1]
    traces: list[dict[str, object]] = []
    # The district itself is drawn last, on top.
    for column, channel in reversed(list(enumerate(snapshot.channels))):
        if channel.quantity == "F" or channel.district not in names:
            continue
        own = channel.district == names[0]
        shown_s, values = _few(at_s + channel.skew_s, snapshot.values[:, column])
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": f"{channel.district}, {'volts' if channel.quantity == 'V' else 'amps'}",
                "x": [round(value, 5) for value in shown_s.tolist()],
                "y": [None if value != value else round(value, 3) for value in values.tolist()],  # noqa: PLR0124 - NaN
                "yaxis": "y" if channel.quantity == "V" else "y2",
                "line": {
                    "color": (VOLTS if channel.quantity == "V" else AMPS) if own else NEIGHBOUR,
                    "width": 1.8 if own else 0.9,
                },
                "hovertemplate": "%{y:.2~f}",
            }
        )
    return traces


def _few(at_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    """As they are where a browser draws them at once, else lowest and highest of each stretch."""
    return (at_s, values) if len(values) <= POINTS else downsampled(at_s.astype(np.float64), values.astype(np.float64), POINTS)


def _marks(event: Event, end_s: float | None, span_s: float) -> list[dict[str, object]]:
    """A shade while it went on, and the usual peaks as dashes: what an AC wave reaches is the square root of two of its RMS."""
    shade = {
        "type": "rect", "xref": "x", "yref": "paper", "x0": 0, "x1": span_s if end_s is None else min(end_s, span_s),
        "y0": 0, "y1": 1, "fillcolor": "rgba(217,142,31,0.10)", "line": {"width": 0}, "layer": "below",
    }  # fmt: skip
    marks: list[dict[str, object]] = [shade, _edge(0.0)]
    if end_s is not None and end_s < span_s:
        marks.append(_edge(end_s))
    for axis, key in (("y", "volts_before"), ("y2", "amps_before")):
        usual = event.evidence.get(key)
        if usual is not None and usual == usual:  # noqa: PLR0124 - NaN
            for sign in (1, -1):
                level = sign * usual * 2**0.5
                dash = {"color": VOLTS if axis == "y" else AMPS, "width": 1, "dash": "dash"}
                marks.append(
                    {"type": "line", "xref": "paper", "yref": axis, "x0": 0, "x1": 1, "y0": level, "y1": level, "line": dash}
                )
    return marks


def _notes(end_s: float | None, span_s: float) -> list[dict[str, object]]:
    began = _note(0, "began", "right")
    if end_s is None:
        return [began, _note(span_s, "goes on →", "right")]
    if end_s >= span_s:
        return [began, _note(span_s, f"ended after {seconds(end_s)} →", "right")]
    return [began, _note(end_s, "ended", "left")]


def _edge(at_s: float) -> dict[str, object]:
    return {
        "type": "line", "xref": "x", "yref": "paper", "x0": at_s, "x1": at_s, "y0": 0, "y1": 1,
        "line": {"color": TEXT, "width": 1},
    }  # fmt: skip


def _note(at_s: float, text: str, anchor: str) -> dict[str, object]:
    return {
        "x": at_s, "y": 1.0, "xref": "x", "yref": "paper", "text": text, "showarrow": False, "xanchor": anchor, "yanchor": "bottom",
        "font": {"size": 13},
    }  # fmt: skip
