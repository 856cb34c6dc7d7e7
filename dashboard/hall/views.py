"""The structure of the hall's pages; stations come and go, so the page's script makes their tiles."""

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.hall.as_layout import layout_of
from dashboard.hall.payload import station_query
from dashboard.views.attributes import aria, hook
from dashboard.views.live_page import live_page, pile
from monitor.bus.hall_values import StationView


def hall_page() -> Component:
    """Every station, worst first, and the warnings of all."""
    return html.Main(
        [
            html.Section(
                [
                    html.Div(
                        [
                            html.Label(["Find ", dcc.Input(type="search", placeholder="station or district")], **hook(find="")),
                            html.A(
                                "Wall",
                                href="/?wall=10",
                                className="to-wall",
                                title="Turn through trouble spots, for a screen without anyone at it",
                            ),
                        ],
                        className="finding",
                    ),
                    html.Div(className="stations", **hook(stations="")),
                    html.P("No station has sent anything yet.", className="none", **hook(no_stations="")),
                    html.P(className="none", **hook(more_stations="")),
                ],
                className="all-stations",
                **aria(label="Stations, worst first"),
            ),
            html.Section(
                [
                    html.H2("Warnings"),
                    pile(),
                ],
                className="notices",
                **aria(label="Warnings of all stations"),
            ),
        ],
        className="hall",
        **hook(source="", scripts="notices hall"),
    )


def station_page(station: StationView | None) -> Component:
    """One station as its own live page shows it; a way back where nothing was heard of it."""
    back = dcc.Link("All stations", href="/", className="back")
    if station is None:
        return html.Main([back, html.P("No such station is known.")], **hook(source=""))
    name = station.name if station.title == station.name else f"{station.name}: {station.title}"
    return html.Div(
        [
            html.Div([back, html.H2(name), html.Span(station.hall, className="quiet")], className="which"),
            live_page(layout_of(station), station_query(station), opens=False),
        ]
    )
