"""What stands around every page: the menu, the headline, how data and recording stand, and the cautions."""

from collections.abc import Sequence

import dash
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook

INDEX = """<!DOCTYPE html>
<html lang="en">
    <head>
        {%metas%}
        <meta name="viewport" content="width=device-width, initial-scale=1">
        <meta name="color-scheme" content="dark light">
        <title>{%title%}</title>
        <link rel="icon" type="image/svg+xml" href="/assets/lamp.svg">
        {%css%}
    </head>
    <body>
        {%app_entry%}
        <noscript>This page needs JavaScript to show live figures.</noscript>
        <footer>
            {%config%}
            {%scripts%}
            {%renderer%}
        </footer>
    </body>
</html>
"""
"""The page's frame; nothing in it comes from elsewhere."""

CAUTIONS = (
    "pilotlamp watches and advises; it never switches anything and replaces no breaker or fuse. "
    "Stay away from the mains side: leave it to a licensed electrician. "
    "Local electrical codes and the makers' instructions come first."
)


def strokes() -> Component:
    """Three strokes: as many are lit as a thing is urgent."""
    return html.Span([html.I(), html.I(), html.I()], className="strokes", **aria(hidden="true"))


def chip(slot: str = "chip") -> Component:
    """How something stands: strokes and a word."""
    return html.Span([strokes(), html.Span(className="word", **hook(slot="word"))], className="chip", **hook(slot=slot))


def shell(title: str, menu: Sequence[tuple[str, str]], *, looks_on: bool = False, bar: Component | None = None) -> Component:
    """The frame of all pages.

    Args:
        title: What is watched.
        menu: Names and paths of the pages that exist.
        looks_on: Nothing can be done from here but look.
        bar: What stands under the menu of every page; None for nothing.
    """
    return html.Div(
        [
            html.A("Skip to the districts", href="#content", className="skip"),
            _head(title, menu),
            bar,
            _headline(),
            html.Div(role="alert", className="unseen", **hook(spoken="")),
            html.Div(dash.page_container, id="content"),
            html.P(CAUTIONS, className="cautions"),
        ],
        className="frame",
        **hook(level="stale", looks_on=str(looks_on).lower()),
    )


def _head(title: str, menu: Sequence[tuple[str, str]]) -> Component:
    links = [dcc.Link(name, href=path) for name, path in menu]
    return html.Header(
        [
            html.Div([html.Span(className="jewel", **aria(hidden="true")), html.Span(title)], className="title"),
            html.Nav(links, **aria(label="Pages")) if len(menu) > 1 else None,
            html.Div(
                [
                    html.Span("no data yet", className="age", **hook(age="")),
                    html.Span(className="state", hidden=True, **hook(ports="")),
                    html.Span(className="state", hidden=True, **hook(recording="")),
                    html.Span(**hook(alerts=""), className="alerts"),
                ],
                className="states",
            ),
        ],
        className="head",
    )


def _headline() -> Component:
    return html.Section(
        [
            strokes(),
            html.Div(
                [
                    html.H1("No figures yet", **hook(slot="sentence")),
                    html.P("Waiting for the first figures.", **hook(slot="more")),
                ],
                className="said",
            ),
            html.Div(
                [
                    html.A("Why?", href="/stalls", hidden=True, **hook(why="")),
                    html.Button("Seen", type="button", hidden=True, **hook(head_seen="")),
                ],
                className="doing buttons",
            ),
            html.Div(
                [html.Span("opens"), html.Strong(**hook(slot="opens"))],
                className="opens",
                hidden=True,
                **hook(slot="opening"),
            ),
        ],
        className="headline",
        **hook(headline="", level="stale"),
        **aria(label="How everything stands"),
    )
