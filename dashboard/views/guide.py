"""The strip that leads through the demonstration; the page's script says what comes next, and ticks off what was seen."""

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook

STEPS = 5


def guide_strip() -> Component:
    """The strip over every page of the demonstration."""
    return html.Section(
        [
            html.B("Demo"),
            html.P(
                [html.Span("An invented show. Nothing here is measured."), html.Span(className="rest")],
                role="status",
                **hook(guide_says=""),
            ),
            html.A("", href="/", className="button", hidden=True, **hook(guide_to="")),
            html.Ol([html.Li() for _ in range(STEPS)], **hook(guide_steps=""), **aria(hidden="true")),
            html.Button("Hide", type="button", **hook(guide_hide="")),
        ],
        className="guide",
        **hook(guide="", scripts="guide"),
        **aria(label="What the demonstration shows next"),
    )
