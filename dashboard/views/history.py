"""The last minutes of one district as a plot."""

from collections.abc import Callable

import numpy as np

from monitor.runtime.trend import BUCKET_S, TrendWindow
from monitor.values.arrays import Floats

POINTS = 600
"""Drawn at most; lows of volts and peaks of amps are kept when buckets are drawn together."""
TEXT, LINE, VOLTS, AMPS = "#8b959b", "rgba(139,149,155,0.25)", "#4fa3d9", "#d98e1f"


def history_figure(window: TrendWindow | None, now_s: float) -> dict[str, object]:
    """Volts above, amps below, against minutes ago; a plain dictionary, which draws much faster than figure objects.

    Args:
        window: Of one district; None draws empty axes.
        now_s: The stream's time now.
    """
    traces: list[dict[str, object]] = []
    if window is not None:
        step = max(1, len(window.volts_rms) // POINTS)
        minutes = [round(value, 4) for value in ((window.start_s[::step] + BUCKET_S * step / 2 - now_s) / 60).tolist()]
        traces = [
            _line("volts, lowest", minutes, _together(window.volts_lowest, step, np.fmin), "y", VOLTS, 1.0),
            _line("volts", minutes, _together(window.volts_rms, step, None), "y", VOLTS, 2.0),
            _line("amps, highest", minutes, _together(window.amps_highest, step, np.fmax), "y2", AMPS, 1.0),
            _line("amps", minutes, _together(window.amps_rms, step, None), "y2", AMPS, 2.0),
        ]
    axis = {"gridcolor": LINE, "zerolinecolor": LINE, "rangemode": "tozero", "fixedrange": True}
    return {
        "data": traces,
        "layout": {
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"color": TEXT, "size": 14},
            "margin": {"l": 46, "r": 10, "t": 6, "b": 40},
            "showlegend": False,
            "xaxis": {
                "title": {"text": "minutes before now"}, "range": [-10, 0], "gridcolor": LINE, "zeroline": False, "anchor": "y2",
            },
            "yaxis": {**axis, "domain": [0.55, 1.0], "title": {"text": "volts"}},
            "yaxis2": {**axis, "domain": [0.0, 0.45], "title": {"text": "amps"}},
            "hovermode": "x",
            "uirevision": "history",
        },
    }  # fmt: skip


def _line(name: str, x: list[float], y: list[float | None], axis: str, colour: str, width: float) -> dict[str, object]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": x,
        "y": y,
        "yaxis": axis,
        "opacity": 1.0 if width > 1 else 0.55,
        "line": {"color": colour, "width": width},
        "hovertemplate": "%{y:.3~g}",
    }


def _together(table: Floats, step: int, how: Callable[..., Floats] | None) -> list[float | None]:
    """Each ``step`` buckets as one: their extreme, or their RMS where no extreme is asked for. NaN where nothing came."""
    column = table[:, 0]
    padded = np.concatenate([column, np.full(-len(column) % step, np.nan)]).reshape(-1, step)
    if how is None:
        counts = np.isfinite(padded).sum(axis=1)
        squares = np.nansum(padded**2, axis=1)
        drawn = np.sqrt(np.divide(squares, counts, out=np.full(len(counts), np.nan), where=counts > 0))
    else:
        drawn = np.asarray(how.reduce(padded, axis=1))  # type: ignore[attr-defined]
    return [None if not np.isfinite(value) else round(value, 3) for value in drawn.tolist()]
