"""The lap ring: where on the lap each district's events fall."""

from collections.abc import Sequence

from dashboard.views.history import AMPS, LINE, TEXT
from monitor.standing.words import WORD_OF_CAUSE
from monitor.values import Event, Pattern

SAME_EVENT_S = 0.02
INNERMOST = 0.45
LEAST_SPREAD = 0.02  # of a lap: an arc that can still be seen


def lap_ring(patterns: Sequence[Pattern], events: Sequence[Event]) -> dict[str, object]:
    """A ring for each district whose lap is known, a dot for each event, one turn for one lap; a plain dictionary."""
    rings = _rings(patterns)
    traces: list[dict[str, object]] = []
    for number, (district, pattern) in enumerate(rings):
        radius = 1.0 if len(rings) == 1 else INNERMOST + (1 - INNERMOST) * number / (len(rings) - 1)
        traces.append(_circle(district, radius))
        traces.append(_dots(district, radius, pattern, events))
        if pattern.lap_fraction is not None:
            traces.append(_spot(pattern.lap_fraction, pattern.spread or LEAST_SPREAD, radius))
    ticks = [0, 36, 72, 108, 144, 180, 216, 252, 288, 324]
    return {
        "data": traces,
        "layout": {
            "paper_bgcolor": "rgba(0,0,0,0)",
            "font": {"color": TEXT, "size": 13},
            "margin": {"l": 40, "r": 40, "t": 30, "b": 30},
            "showlegend": False,
            "polar": {
                "bgcolor": "rgba(0,0,0,0)",
                "radialaxis": {"visible": False, "range": [0, 1.15]},
                "angularaxis": {
                    "direction": "clockwise", "rotation": 90, "gridcolor": LINE, "linecolor": LINE,
                    "tickvals": ticks, "ticktext": [f"{k / 36:.0f}/10" for k in ticks],
                },
            },
            "uirevision": "ring",
        },
    }  # fmt: skip


def ring_names(patterns: Sequence[Pattern]) -> list[str]:
    """Whose rings there are, from the inside out."""
    return [district for district, _ in _rings(patterns)]


def _rings(patterns: Sequence[Pattern]) -> list[tuple[str, Pattern]]:
    return [(district, pattern) for pattern in patterns if pattern.phases for district in pattern.districts]


def _circle(district: str, radius: float) -> dict[str, object]:
    angles = list(range(0, 361, 6))
    return {
        "type": "scatterpolar", "mode": "lines", "r": [radius] * len(angles), "theta": angles, "hoverinfo": "skip",
        "line": {"color": LINE, "width": 2}, "showlegend": False, "name": district,
    }  # fmt: skip


def _dots(district: str, radius: float, pattern: Pattern, events: Sequence[Event]) -> dict[str, object]:
    causes = [(phase, _cause(events, district, at_s)) for at_s, phase in pattern.phases]
    if len(pattern.districts) == 1:
        causes = [(phase, cause or "earlier") for phase, cause in causes]
    own = [(phase, cause) for phase, cause in causes if cause is not None]
    return {
        "type": "scatterpolar",
        "mode": "markers",
        "name": district,
        "r": [radius] * len(own),
        "theta": [round(360 * phase, 2) for phase, _ in own],
        "text": [f"{district}, {cause}" for _, cause in own],
        "hoverinfo": "text",
        "marker": {"size": 11, "opacity": 0.7, "color": AMPS},
    }


def _cause(events: Sequence[Event], district: str, at_s: float) -> str | None:
    """What it was; None where the list has no such event of this district any more."""
    own = (event for event in events if event.district == district and abs(event.start_s - at_s) < SAME_EVENT_S)
    return next((WORD_OF_CAUSE[event.cause] for event in own), None)


def _spot(fraction: float, spread: float, radius: float) -> dict[str, object]:
    """The arc in which most of the events at the spot lie."""
    half = max(spread, LEAST_SPREAD)
    angles = [round(360 * (fraction + half * k / 8), 2) for k in range(-8, 9)]
    return {
        "type": "scatterpolar", "mode": "lines", "r": [radius] * len(angles), "theta": angles, "showlegend": False,
        "hoverinfo": "skip", "line": {"color": TEXT, "width": 8}, "opacity": 0.8,
    }  # fmt: skip
