"""The live page's structure: what stands where; the figures are filled in by the page's script."""

import math
from collections.abc import Mapping
from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.help_words import asks
from dashboard.views.shares import output_limit_amps
from dashboard.views.shell import chip
from monitor.layout import District, Layout, Supply
from monitor.protection.limits import nameplate_notes
from monitor.standing import Level
from monitor.standing.words import MEANING_OF_LEVEL, WORD_OF_LEVEL

MOST_COLUMNS = 6


def columns_for(districts: int) -> int:
    """Columns on a wall screen: as many as rows, or one more."""
    return max(1, min(MOST_COLUMNS, math.ceil(math.sqrt(districts))))


def live_page(layout: Layout, source: str = "", *, opens: bool = True, refused: Mapping[str, str] | None = None) -> Component:
    """Every district, every supply, the newest warnings.

    Args:
        layout: The layout that is watched.
        source: What to ask the feed for: a query; the feed has one source only where it is empty.
        opens: Whether a district opens to a page of its own.
        refused: Supplies that the bench check does not pass, and why.
    """
    refused = refused or {}
    columns = columns_for(len(layout.district))
    return html.Main(
        [
            html.Section(
                [district_card(layout, number, row, opens=opens) for number, row in enumerate(layout.district)],
                className="districts",
                **aria(label="Districts"),
            ),
            html.Div(
                [
                    html.Section(
                        [
                            supply_panel(layout, number, supply, refused.get(supply.name))
                            for number, supply in enumerate(layout.supply)
                        ],
                        className="supplies",
                        **aria(label="Supplies"),
                    ),
                    _notices(),
                ],
                className="aside",
            ),
        ],
        className="live",
        style={"--columns": str(columns), "--rows": str(math.ceil(len(layout.district) / columns))},
        **hook(live="", source=source, scripts="traces notices"),
    )


def district_card(layout: Layout, number: int, row: District, *, opens: bool = True) -> Component:
    """One district, found by the script by its place in the layout file; it opens to a page of its own."""
    supply = layout.supply_named(row.supply)
    name = dcc.Link(row.name, href=f"/district?name={quote(row.name, safe='')}") if opens else row.name
    limit_amps = output_limit_amps(layout, supply, row.output)
    return html.Article(
        [
            html.Div([html.H2(name), chip()], className="top"),
            html.Div([_big("amps", "A"), _big("volts", "V"), _big("va", "VA")], className="figures"),
            html.Canvas(
                className="trace",
                **hook(trace=str(number), limit=f"{limit_amps:.3f}", volts=f"{supply.max_volts:.3f}"),
                **aria(hidden="true"),
            ),
            html.Div(
                [
                    html.Span(f"output {row.output} of {row.supply}", className="label", **hook(slot="limit")),
                    html.B("–", **hook(slot="share")),
                    html.Div(html.Span(**hook(slot="fill")), className="rail", **aria(hidden="true")),
                ],
                className="gauge",
                **hook(slot="gauge"),
            ),
            html.P(className="fits", **hook(slot="fits")),
        ],
        className="card",
        **hook(district=str(number), level="stale"),
    )


def supply_panel(layout: Layout, number: int, supply: Supply, refusal: str | None = None) -> Component:
    """One supply, found by its place in the layout file: its outputs stacked against the limit that is reached first."""
    outputs = [output.name for output in layout.output if output.supply == supply.name]
    return html.Article(
        [
            html.Div([html.H2(supply.name), chip()], className="top"),
            *([html.P(f"NOT PASSED BY ITS BENCH CHECK: {refusal}", className="file-trouble", role="alert")] if refusal else []),
            html.Div(
                [
                    html.Strong("–", **hook(slot="share")),
                    html.B(**hook(slot="left")),
                    html.Span(className="binds", **hook(slot="limit")),
                ],
                className="used",
            ),
            _bar(outputs),
            html.Ul([_output_row(layout, supply, k, name) for k, name in enumerate(outputs)], className="outputs"),
            _heat(),
            _plate_notes(supply),
        ],
        className="supply",
        **hook(supply=str(number), level="stale"),
    )


def _bar(outputs: list[str]) -> Component:
    """The outputs side by side against the limit that is reached first; the page's script gives the widths."""
    segments = [html.Span(name, className="segment", **hook(slot=f"output-{k}")) for k, name in enumerate(outputs)]
    return html.Div(
        [html.Div(segments, className="stack"), html.Span(className="over-zone"), html.Span(className="limit-mark")],
        className="bar",
        title="The mark is the limit that is reached first; beyond it, the protection may open",
        **aria(hidden="true"),
    )


def _heat() -> Component:
    """Heat of the protection, filled in where there is one."""
    rail = html.Div(html.Span(**hook(slot="heat_fill")), className="rail", **aria(hidden="true"))
    return html.Div([html.Span("Protection heat"), rail, html.Span(**hook(slot="heat"))], className="heat", **hook(slot="hot"))


def _plate_notes(supply: Supply) -> Component | None:
    """Where a plate exceeds what its kind allows, or leaves something open."""
    notes = nameplate_notes(supply)
    if not notes:
        return None
    title = f"About this supply: {len(notes)} note{'s' if len(notes) > 1 else ''}"
    return html.Details([html.Summary(title), html.Ul([html.Li(note) for note in notes])], className="plate-notes")


def _output_row(layout: Layout, supply: Supply, number: int, name: str) -> Component:
    fed = ", ".join(row.name for row in layout.districts_of_supply(supply.name) if row.output == name)
    limit = f"{output_limit_amps(layout, supply, name):.1f}"
    return html.Li(
        [
            html.B(name),
            html.Span(fed or "nothing connected", className="fed"),
            html.Span([html.Span("–", **hook(slot="amps")), f" of {limit} A"], className="amps"),
        ],
        **hook(slot=f"row-{number}"),
    )


def _big(slot: str, unit: str) -> Component:
    return html.Div([html.Span("–", **hook(slot=slot)), html.Small(unit)], className=f"big {slot}")


def _notices() -> Component:
    return html.Section(
        [
            html.Div([html.H2("Warnings"), asks("warnings")], className="title-row"),
            pile(
                html.Div(className="marking", **hook(marking="")),
                html.Details(
                    [
                        html.Summary("What the words ask for"),
                        html.Dl([each for level in MEANING_OF_LEVEL for each in _meaning(level)]),
                    ],
                    className="meanings",
                ),
            ),
        ],
        className="notices",
        **aria(label="Warnings and findings"),
    )


def pile(*more: Component) -> Component:
    """Warnings, findings and what is past, filled in and stacked by the page's script, and what stands below them."""
    lists = [
        html.Div(className="list past" if name == "past" else "list", **hook(**{name: ""}))
        for name in ("warnings", "findings", "past")
    ]
    return html.Div([html.P("None.", className="none", **hook(none="")), *lists, *more], className="pile")


def _meaning(level: Level) -> tuple[Component, Component]:
    return html.Dt(WORD_OF_LEVEL[level]), html.Dd(MEANING_OF_LEVEL[level])
