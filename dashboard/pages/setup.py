"""The set-up page: a first layout, or a change of the one that is watched."""

import dash
from dash import html
from dash.development.base_component import Component

from dashboard.setup_routes import setup_routes
from dashboard.views.attributes import aria, hook
from dashboard.watch import WatchLike
from monitor.runtime.mirror import MirroredWatch


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page where a layout file can be written: at the root while nothing is watched yet."""
    if not isinstance(watch, MirroredWatch) or not watch.may_set_up:
        return
    app.server.register_blueprint(setup_routes(watch))
    path = "/set-up" if watch.layout.board else "/"
    dash.register_page("setup", path=path, name="Set up", title="Set up", order=6, layout=setup_page, in_menu=True)


def setup_page(**_query: str) -> Component:
    """Places for the page's script to fill."""
    return html.Main(
        [
            html.H1("Set up", className="unseen"),
            html.P(role="status", className="said", **hook(setup_said="")),
            html.Ol(className="chapters", **hook(setup_chapters=""), **aria(label="Steps")),
            html.Div(
                [
                    html.Form(className="panel", noValidate=True, **hook(setup_card="")),
                    html.Section(
                        [
                            html.H2("What the boards say"),
                            html.P(**hook(setup_moved=""), **aria(live="polite")),
                            html.Div(**hook(setup_ports="")),
                        ],
                        className="panel",
                    ),
                ],
                className="setup",
            ),
        ],
        className="page",
        **hook(setup="", scripts="setup"),
    )
