"""The power budget as a table, with every limit, every load and where its figure comes from; and the form that learns a draw."""

from collections.abc import Iterator

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from monitor.layout import Layout
from monitor.planning.budget import Budget, BudgetEntry, LimitUse
from monitor.planning.budget_words import binding_words, return_rows
from monitor.planning.planned_loads import measured_words
from monitor.words.figures import percent

SPANS_S = (20, 60, 120, 300, 590)


def budget_table(budget: Budget) -> Component:
    """The budget: typical, everything running, and with the heaviest start on top."""
    head = html.Tr([html.Td(""), *(html.Th(text) for text in ("typical", "all running", "with a start"))])
    rows = [row for entry in budget.entries for row in _entry_rows(entry, budget.reserve)]
    rows += [_note(" ".join(" ".join(return_rows(drops)).split())) for drops in budget.returns]
    words = [html.Li(line, **hook(binds="")) for line in binding_words(budget)]
    return html.Div(
        [
            html.Ul(words, className="reasons"),
            html.Div(
                html.Table([html.Thead(head), html.Tbody(rows)], className="figures-table budget"),
                className="scroll",
                tabIndex="0",
                role="region",
                **aria(label="Power budget"),
            ),
        ]
    )


def learn_form(layout: Layout, *, may_keep: bool) -> Component:
    """Choose a load and a span; look; keep."""
    if not layout.load:
        return html.P("Add [[load]] tables to the layout file to learn their draw here.", className="none")
    loads = [html.Option(load.name, value=load.name, **hook(district=load.district)) for load in layout.load]
    spans = [html.Option(f"the last {span} s", value=str(span), selected=span == 60) for span in SPANS_S]
    also = [
        html.Button(
            load.name,
            type="button",
            hidden=True,
            **hook(also=load.name, district=load.district, on="false"),
            **aria(pressed="false"),
        )
        for load in layout.load
    ]
    form = html.Form(
        [
            html.P(
                "Let it run alone on its district for a while, with one stop and start; then look at what it drew.",
                className="none",
            ),
            html.Label([html.Span("What runs"), html.Select(loads, **hook(learn_load=""), **aria(label="What runs"))]),
            html.Label([html.Span("Look at"), html.Select(spans, **hook(learn_span=""), **aria(label="Look at"))]),
            html.Div([html.Span("Also on there: "), *also], className="also"),
            html.Div(
                [
                    html.Button("Look", type="submit"),
                    html.Button("Keep it with the layout", type="button", disabled=True, **hook(keep="")),
                ],
                className="row",
            ),
            html.P(className="said", role="status", **hook(said="")),
        ],
        **hook(learn="true" if may_keep else "false"),
    )
    return html.Details([html.Summary("Learn this engine's draw from the running layout"), form], className="entry")


def _entry_rows(entry: BudgetEntry, reserve: float) -> Iterator[Component]:
    draw = entry.draw
    figures = [
        html.Td([f"{amps:.1f} A", html.Small(f" {amps * entry.volts:.0f} VA")])
        for amps in (draw.typical_amps, draw.running_amps, draw.worst_amps)
    ]
    name = html.Th([html.Small(f"{entry.kind} "), entry.name], scope="row")
    yield html.Tr([name, *figures], className="entry-of", **(hook(refused="") if entry.refused else {}))
    yield from (_limit(limit, reserve) for limit in entry.limits)
    if entry.loads:
        loads = "; ".join(
            f"{load.name} {load.running_amps:g} A, starts at {load.starting_amps or load.running_amps:g} A ({source})"
            for load, source in ((each.load, each.source) for each in entry.loads)
        )
        yield _note(f"{measured_words(entry.loads)}: {loads}")
    if entry.feeder is not None:
        yield _note(entry.feeder.words)


def _note(words: str) -> Component:
    return html.Tr([html.Td(words, colSpan=4, className="none note")])


def _limit(limit: LimitUse, reserve: float) -> Component:
    """One limit under its three draws, the bar where everything runs."""
    over = limit.share > 1
    much = "over" if over else "near" if limit.share > 1 - reserve + 1e-9 else "free"
    bar = html.Div(html.Span(style={"width": f"{100 * min(1.0, limit.share):.0f}%"}, **hook(much=much)), className="rail")
    running = [percent(limit.share), html.B(" TOO MUCH") if over else "", bar]
    name = html.Th([limit.limit, html.Small(f" {limit.drawn:.1f} of {limit.allowed:.1f} A")], scope="row")
    shares = [html.Td(each) for each in (percent(limit.typical_share), running, percent(limit.worst_share))]
    return html.Tr([name, *shares], className="limit")
