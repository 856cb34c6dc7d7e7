"""The district page's structure."""

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.history import history_figure
from dashboard.views.live_page import district_card, supply_panel
from monitor.layout import District, Layout

GRAPH_CONFIG: Any = {"displayModeBar": False, "responsive": True, "showSendToCloud": False}


def district_page(layout: Layout, row: District) -> Component:
    """One district from near."""
    number = layout.district.index(row)
    return html.Main(
        [
            html.P([dcc.Link("All districts", href="/"), f" / {row.name}"], className="crumbs"),
            html.Div(
                [
                    html.Div(district_card(layout, number, row), className="near"),
                    _panel("Wave as sampled now", html.Canvas(**hook(wave=row.name), className="wave", role="img"), _key()),
                    _panel("Figures", html.Dl(className="table", **hook(figures=row.name))),
                    _panel(
                        f"{row.supply}, which feeds it",
                        _supply(layout, row),
                        html.H2("How it stands to the other supplies"),
                        html.Div(className="phasing", **hook(phasing=row.name)),
                    ),
                    _panel("Last ten minutes", _history(), wide=True),
                ],
                className="detail",
            ),
            dcc.Store(id="history-name", data=row.name),
            dcc.Interval(id="history-tick", interval=2000),
        ],
        className="page",
        **hook(named=row.name),
    )


def no_such_district(layout: Layout, name: str) -> Component:
    """What to say where the address names no district of this layout."""
    return html.Main(
        [
            html.H2("No such district"),
            html.P(f'This layout has no district "{name[:80]}". It has: {", ".join(row.name for row in layout.district)}.'),
            dcc.Link("All districts", href="/"),
        ],
        className="page",
    )


def _supply(layout: Layout, row: District) -> Component:
    number = [supply.name for supply in layout.supply].index(row.supply)
    return supply_panel(layout, number, layout.supply[number])


def _history() -> Component:
    return dcc.Graph(id="history", figure=history_figure(None, 0), config=GRAPH_CONFIG, style={"height": "340px"})


def _panel(title: str, *children: Component, wide: bool = False) -> Component:
    return html.Section([html.H2(title), *children], className="panel wide" if wide else "panel")


def _key() -> Component:
    return html.P(
        [html.Span("volts", className="key volts"), html.Span("amps", className="key amps")],
        className="keys",
        **aria(hidden="true"),
    )
