"""Trends over all sessions: pictures of their own, with every figure in a table beside them."""

import base64
from collections.abc import Sequence
from html import escape

from dash import html
from dash.development.base_component import Component

from dashboard.trend_job import TrendState
from dashboard.views.attributes import aria
from dashboard.views.review_figures import signed, table
from monitor.sessions.trends import SessionTrend

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 460, 190, 44, 12, 12, 26
LETTERS = 15
"""How high a name is."""
DASHES = ("", "7 4", "2 4", "10 3 2 3")
MEANING = {
    "stalls an hour": "how often something stopped a train",
    "supply resistance (ohm)": "what a supply loses to its own winding and leads: it grows where something ages or works loose",
    "feeder resistance (ohm)": "what the way to the far end of a district loses: it grows where joints corrode",
    "protection opened after (s)": "how long above its rating until the protection opened: one that tires opens sooner and sooner",
    "VA highest second": "the most that was drawn",
}
_STYLE = (
    "text{font:15px system-ui,sans-serif;fill:#4d5b53}path,circle{stroke:#00588f;fill:none;stroke-width:2}circle{fill:#00588f;stroke:none}"
    "line{stroke:#c6cbbd}@media(prefers-color-scheme:dark){text{fill:#a8b5a9}path{stroke:#9ccbe6}circle{fill:#9ccbe6}line{stroke:#33483f}}"
)


def trends_section() -> Component:
    """The frame: its one button stays where it is whatever changes around it, so that no focus is lost."""
    return html.Section(
        [
            html.Div(id="trend-said", **aria(live="polite")),
            html.Button("", id="trend-do", type="button", n_clicks=0, hidden=True),
            html.Div(id="trend-found", className="trends"),
        ],
        className="panel",
        **aria(label="Trends"),
    )


def trend_words(state: TrendState, title: str) -> list[Component]:
    """What is gone through, and how far it is."""
    return [html.H2(f"Over all sessions of {title}" if title else "Over all sessions"), _progress(state)]


def trend_button(state: TrendState) -> str:
    """What can be asked for; empty where nothing can."""
    return {"idle": "Work out the trends", "working": "Stop", "stopping": "Stopping …", "stopped": "Go on", "done": ""}[
        state.state
    ]


def trend_figures(state: TrendState) -> list[Component]:
    """The trends, where there are some."""
    return [_figure(name, found) for name, found in _by_figure(state.found)]


def _progress(state: TrendState) -> Component:
    if state.state == "idle":
        return html.P("Every session is gone through once for this.", className="quiet")
    if state.state in ("working", "stopping"):
        bar = html.Progress(value=str(state.done), max=str(max(1, state.total)), **aria(label="sessions gone through"))
        # Ears hear when it begins and ends, not each step of it.
        return html.P([bar, f" {state.done} of {state.total} sessions"], **aria(live="off"))
    said = f"{state.done} of {state.total} sessions{' (stopped)' if state.state == 'stopped' else ''}"
    unread = f", {len(state.unread)} could not be understood: {', '.join(state.unread[:3])}" if state.unread else ""
    few = " Trends need two sessions at least." if state.total < 2 else ""
    return html.P(f"{said}{unread}.{few}", className="quiet")


def _by_figure(found: Sequence[SessionTrend]) -> list[tuple[str, list[SessionTrend]]]:
    """By figure, and only what more than one session says something about."""
    names = [name for name in MEANING if any(trend.figure == name and len(trend.points) > 1 for trend in found)]
    return [(name, [trend for trend in found if trend.figure == name and len(trend.points) > 1]) for name in names]


def _free(y: float, taken: Sequence[float]) -> float:
    """Where a name stands that belongs to a line at y: above it or below it, and on no other name; else as near as there is room."""
    wanted = sorted([y + by for by in (*range(-90, -5, 6), *range(LETTERS, 100, 6))], key=lambda at: abs(at - (y - 6)))
    inside = [at for at in wanted if TOP + LETTERS <= at <= HEIGHT - BOTTOM - 3]
    return next((at for at in inside if all(abs(at - other) >= LETTERS for other in taken)), y)


def _figure(name: str, found: list[SessionTrend]) -> Component:
    drawn = base64.b64encode(trend_picture(found).encode()).decode()
    rows = [
        [
            trend.where or "the layout",
            f"{trend.points[0][1]:.2f}",
            f"{trend.points[-1][1]:.2f}",
            signed(trend.points[-1][1] - trend.points[0][1], 2),
        ]
        for trend in found
    ]
    return html.Figure(
        [
            html.Figcaption([html.Strong(name), html.Span(f" {MEANING[name]}", className="quiet")]),
            html.Img(src=f"data:image/svg+xml;base64,{drawn}", alt=f"{name} from session to session; the table has the figures"),
            table(("Where", "first", "latest", "change"), rows, name),
        ]
    )


def trend_picture(found: Sequence[SessionTrend]) -> str:
    """One line a place over the sessions in their order, as SVG; places differ by their dashes and are named at the end."""
    days = sorted({at for trend in found for at, _ in trend.points})
    top = max([value for trend in found for _, value in trend.points] + [1e-9]) * 1.1
    across = {at: LEFT + k * (WIDTH - LEFT - RIGHT) / max(1, len(days) - 1) for k, at in enumerate(days)}
    base = HEIGHT - BOTTOM
    parts = [f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y}" y2="{y}"/>' for y in (TOP, base)]
    parts.append(f'<text x="{LEFT - 6}" y="{TOP + 9}" text-anchor="end">{top:.{2 if top < 1 else 1 if top < 10 else 0}f}</text>')
    parts.append(f'<text x="{LEFT - 6}" y="{base}" text-anchor="end">0</text>')
    for k, day in enumerate((days[0], days[-1]) if days else ()):
        anchor = "end" if k else "start"
        parts.append(f'<text x="{across[day]:.0f}" y="{HEIGHT - 8}" text-anchor="{anchor}">{day.astimezone():%d %b %Y}</text>')
    named: list[float] = []
    for k, trend in enumerate(found):
        places = [(across[at], base - max(0.0, value) / top * (base - TOP)) for at, value in trend.points]
        line = " L".join(f"{x:.1f} {y:.1f}" for x, y in places)
        parts.append(f'<path d="M{line}" stroke-dasharray="{DASHES[k % len(DASHES)]}"/>')
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>' for x, y in places]
        x, y = places[-1]
        named.append(_free(y, named))
        parts.append(f'<text x="{x - 6:.0f}" y="{named[-1]:.0f}" text-anchor="end">{escape(trend.where)}</text>')
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}"><style>{_STYLE}</style>{"".join(parts)}</svg>'
