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
    "pilotlamp only watches and advises; it replaces no breaker or fuse. "
    "Leave the mains side to licensed electricians. Local codes and makers' instructions come first."
)


ICONS = {"/": "live", "/stalls": "stalls", "/review": "review", "/before": "before", "/help": "help", "/set-up": "before"}
"""Which icon of the style sheet stands for a page."""


def strokes() -> Component:
    """Three strokes: as many are lit as a thing is urgent."""
    return html.Span(className="strokes", **aria(hidden="true"))


def chip(slot: str = "chip") -> Component:
    """How something stands: strokes and a word."""
    return html.Span([strokes(), html.Span(className="word", **hook(slot="word"))], className="chip", **hook(slot=slot))


def shell(
    title: str, menu: Sequence[tuple[str, str]], *, looks_on: bool = False, bar: Component | None = None, is_set_up: bool = True
) -> Component:
    """The frame of all pages.

    Args:
        title: What is watched.
        menu: Names and paths of the pages that exist.
        looks_on: Nothing can be done from here but look.
        bar: What stands under the menu of every page; None for nothing.
        is_set_up: Whether there is a layout, of which a headline could say something.
    """
    return html.Div(
        [
            html.A("Skip to the page", href="#content", className="skip"),
            _head(title, menu),
            bar,
            _headline(hidden=not is_set_up),
            html.Div(role="alert", className="unseen", **hook(spoken="")),
            html.Div(dash.page_container, id="content", tabIndex="-1"),
            html.Section(html.P(CAUTIONS, className="cautions"), **aria(label="Cautions")),
        ],
        className="frame",
        **hook(level="stale", looks_on=str(looks_on).lower()),
    )


def _head(title: str, menu: Sequence[tuple[str, str]]) -> Component:
    links = [_tab(name, path) for name, path in menu]
    return html.Header(
        [
            html.Div(
                [html.Span(className="jewel", **aria(hidden="true")), html.Span(title, className="name", title=title)],
                className="title",
            ),
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


def _tab(name: str, path: str) -> Component:
    """A page in the menu; the page's script marks the one that is shown."""
    icon = html.Span(className=f"icon of-{ICONS.get(path, 'live')}", **aria(hidden="true"))
    return dcc.Link([icon, html.Span(name)], href=path)


def _headline(*, hidden: bool) -> Component:
    return html.Section(
        [
            strokes(),
            html.Button("⌄", type="button", className="unfold", **hook(unfold=""), **aria(label="All of it", expanded="false")),
            html.Div(
                [
                    html.H1(
                        [html.Span("No figures yet", **hook(slot="sentence")), html.Span(className="rest", **hook(slot="rest"))]
                    ),
                    html.P("Waiting for the first figures.", **hook(slot="more")),
                ],
                className="said",
            ),
            html.Div(
                [
                    html.Span("opens"),
                    html.Strong(**hook(slot="opens")),
                    html.Span(className="arc", **hook(slot="arc"), **aria(hidden="true")),
                ],
                className="opens",
                hidden=True,
                **hook(slot="opening"),
            ),
            html.Div(
                [
                    html.A("Why?", href="/stalls", className="button", hidden=True, **hook(why="")),
                    html.Button("Seen", type="button", hidden=True, **hook(head_seen="")),
                ],
                className="acts buttons",
            ),
        ],
        className="headline",
        hidden=hidden,
        **hook(headline="", level="stale"),
        **aria(label="How everything stands"),
    )


def no_such_page(**_query: str) -> Component:
    """Instead of a page, where an address leads nowhere."""
    words = [
        html.H2("There is no such page"),
        html.P("The address may be mistyped, or from another version."),
        html.P(dcc.Link("To the live page", href="/")),
    ]
    return html.Main(html.Div(words, className="panel empty"), className="page")


def plain_page(title: str, body: str, script: str = "") -> str:
    """A page of words in the same frame, without figures: entering, and errors.

    Args:
        title: Its heading; plain text.
        body: Its parts; HTML of our own.
        script: Address of its script; none where empty.
    """
    styles = "".join(f'<link rel="stylesheet" href="/assets/{name}.css">' for name in ("00_tokens", "10_frame"))
    run = f'<script src="{script}" type="module"></script>' if script else ""
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta name="color-scheme" content="dark light"><title>{title} – pilotlamp</title>'
        f'<link rel="icon" type="image/svg+xml" href="/assets/lamp.svg">{styles}{run}</head>'
        '<body><div class="frame" data-level="rest"><header class="head"><a class="title" href="/">'
        '<span class="jewel" aria-hidden="true"></span><span class="name">pilotlamp</span></a></header>'
        f'<main class="plain-page"><h1>{title}</h1>{body}</main></div></body></html>'
    )
