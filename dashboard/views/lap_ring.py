"""The lap as a ring: a dot for each event, an arc where they gather; one turn for one lap. A picture without a script."""

import math
from collections.abc import Sequence
from html import escape

from monitor.standing.words import WORD_OF_CAUSE
from monitor.values import Event, Pattern

SAME_EVENT_S = 0.02
INNERMOST = 0.45
LEAST_SPREAD = 0.02  # of a lap: an arc that can still be seen
SIZE, OUTER = 320, 124
_STYLE = (
    "text{font:14px system-ui,sans-serif;fill:#b4c0b5}circle.lap{fill:none;stroke:#33483f;stroke-width:2}line{stroke:#33483f}"
    "circle.dot{fill:#e2b968;stroke:#14231e}path{fill:none;stroke:#f6efdc;stroke-width:10;opacity:.7}"
    "@media(prefers-color-scheme:light){text{fill:#46544c}circle.lap,line{stroke:#c6cbbd}circle.dot{fill:#6b4a00;stroke:#fbf9f1}"
    "path{stroke:#12201b}}"
)


def lap_ring(patterns: Sequence[Pattern], events: Sequence[Event]) -> str:
    """A ring for each district whose lap is known, as SVG; empty where there is none."""
    rings = _rings(patterns)
    if not rings:
        return ""
    parts = [_tick(k) for k in range(10)]
    for number, (district, pattern) in enumerate(rings):
        radius = OUTER * (1.0 if len(rings) == 1 else INNERMOST + (1 - INNERMOST) * number / (len(rings) - 1))
        parts.append(f'<circle class="lap" r="{radius:.1f}"/>')
        if pattern.lap_fraction is not None:
            parts.append(_arc(pattern.lap_fraction, pattern.spread or LEAST_SPREAD, radius))
        parts += [_dot(phase, radius, f"{district}, {cause}") for phase, cause in ring_dots(district, pattern, events)]
    half = SIZE / 2
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-half} {-half} {SIZE} {SIZE}"><style>{_STYLE}</style>{"".join(parts)}</svg>'


def ring_names(patterns: Sequence[Pattern]) -> list[str]:
    """Whose rings there are, from the inside out."""
    return [district for district, _ in _rings(patterns)]


def ring_dots(district: str, pattern: Pattern, events: Sequence[Event]) -> list[tuple[float, str]]:
    """Where on the lap of a district its events were, and what they were."""
    causes = [(phase, _cause(events, district, at_s)) for at_s, phase in pattern.phases]
    if len(pattern.districts) == 1:
        return [(phase, cause or "earlier") for phase, cause in causes]
    return [(phase, cause) for phase, cause in causes if cause is not None]


def _rings(patterns: Sequence[Pattern]) -> list[tuple[str, Pattern]]:
    return [(district, pattern) for pattern in patterns if pattern.phases for district in pattern.districts]


def _cause(events: Sequence[Event], district: str, at_s: float) -> str | None:
    """What it was; None where the list has no such event of this district any more."""
    own = (event for event in events if event.district == district and abs(event.start_s - at_s) < SAME_EVENT_S)
    return next((WORD_OF_CAUSE[event.cause] for event in own), None)


def at_turn(fraction: float, radius: float) -> tuple[float, float]:
    """Where a part of a lap stands: clockwise from the top."""
    angle = 2 * math.pi * fraction
    return radius * math.sin(angle), -radius * math.cos(angle)


def _tick(tenth: int) -> str:
    x, y = at_turn(tenth / 10, OUTER)
    far_x, far_y = at_turn(tenth / 10, OUTER + 20)
    name = "start" if tenth == 0 else f"{tenth}/10"
    return f'<line x1="0" y1="0" x2="{x:.1f}" y2="{y:.1f}"/><text x="{far_x:.1f}" y="{far_y + 5:.1f}" text-anchor="middle">{name}</text>'


def _dot(fraction: float, radius: float, words: str) -> str:
    x, y = at_turn(fraction, radius)
    return f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="6"><title>{escape(words)}</title></circle>'


def _arc(fraction: float, spread: float, radius: float) -> str:
    """The arc in which most of the events at the spot lie."""
    half = min(max(spread, LEAST_SPREAD), 0.499)
    (x1, y1), (x2, y2) = at_turn(fraction - half, radius), at_turn(fraction + half, radius)
    return f'<path d="M{x1:.1f} {y1:.1f} A{radius:.1f} {radius:.1f} 0 {int(half > 0.25)} 1 {x2:.1f} {y2:.1f}"/>'
