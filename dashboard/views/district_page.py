"""The district page's structure."""

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.help_words import panel
from dashboard.views.live_page import district_card, supply_panel
from monitor.layout import District, Layout


def district_page(layout: Layout, row: District) -> Component:
    """One district from near."""
    number = layout.district.index(row)
    return html.Main(
        [
            html.P([dcc.Link("All districts", href="/"), f" / {row.name}"], className="crumbs"),
            html.Div(
                [
                    html.Div(district_card(layout, number, row), className="near"),
                    panel(
                        "As it swings now",
                        "wave",
                        html.Canvas(
                            **hook(wave=row.name), className="wave", role="img", **aria(label="Volts and amps of the last cycles")
                        ),
                        _key(),
                    ),
                    panel("Figures", "district-figures", html.Dl(className="table", **hook(figures=row.name))),
                    panel(
                        "Its supply",
                        "supply",
                        _supply(layout, row),
                        html.H3("Against the other supplies"),
                        _phasing(row),
                    ),
                    panel("Last ten minutes", "history", _history(row), wide=True),
                ],
                className="detail",
            ),
        ],
        className="page",
        **hook(named=row.name, scripts="traces wave plots"),
    )


def no_such_district(layout: Layout, name: str) -> Component:
    """What to say where the address names no district of this layout."""
    return html.Main(
        html.Div(
            [
                html.H2("No such district"),
                html.P(f'This layout has no district "{name[:80]}". It has: {", ".join(row.name for row in layout.district)}.'),
                html.P(dcc.Link("All districts", href="/")),
            ],
            className="panel empty",
        ),
        className="page",
    )


def _supply(layout: Layout, row: District) -> Component:
    number = [supply.name for supply in layout.supply].index(row.supply)
    return supply_panel(layout, number, layout.supply[number])


def _phasing(row: District) -> Component:
    """How the supplies stand to each other, with what has to be known before a wire is touched."""
    advice = html.Details(
        [html.Summary("Before you join or cross anything"), html.P(**hook(phase_advice=""))], className="folded", hidden=True
    )
    return html.Div([html.P(**hook(phases="")), advice], className="phasing", **hook(phasing=row.name))


def _history(row: District) -> Component:
    return html.Canvas(
        className="plot",
        role="img",
        **hook(history=row.name),
        **aria(label="Volts and amps of the last ten minutes; figures stand above"),
    )


def _key() -> Component:
    return html.P(
        [html.Span("volts", className="key volts"), html.Span("amps", className="key amps")],
        className="keys",
        **aria(hidden="true"),
    )
