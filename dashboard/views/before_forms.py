"""Forms of the page before the show whose entries a script makes: candidates to buy, and the volts between terminals."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.terminals import CARE

CANDIDATE_ENTRIES = (
    ("name", "What it is", "text"),
    ("price", "Price", "decimal"),
    ("rated_va", "VA on its plate, all outputs together", "decimal"),
    ("max_volts", "Highest volts", "decimal"),
    ("outputs", "Outputs", "numeric"),
    ("count", "How many could be had", "numeric"),
)


def candidate_form(candidates: Sequence[Candidate]) -> Component:
    """What could be bought: a list to take out of, and a form to add to it."""
    rows = [
        html.Li(
            [
                html.Span(
                    f"{each.name}: {each.price:g}, {each.rated_va or each.rated_watts:g} VA, {each.max_volts:g} V, {each.count} to be had "
                ),
                html.Button("Take out", type="button", **hook(take_out=each.name), **aria(label=f"Take out {each.name}")),
            ]
        )
        for each in candidates
    ]
    entries = [
        html.Label([html.Span(words), html.Span(**hook(entry=key, mode=mode, label=words))])
        for key, words, mode in CANDIDATE_ENTRIES
    ]
    currents = html.Select(
        [html.Option("AC", value="ac"), html.Option("DC", value="dc")], **hook(key="current"), **aria(label="What comes out")
    )
    form = html.Form(
        [
            *entries,
            html.Label([html.Span("What comes out"), currents]),
            html.Div([html.Button("Weigh it too", type="submit")]),
            html.P(className="said", role="status", **hook(said="")),
        ],
        **hook(candidate=""),
    )
    return html.Details(
        [html.Summary("Supplies that could be bought"), html.Ul(rows, className="reasons"), form], className="entry"
    )


def terminals_form(plan: Plan, fit_supplies: Sequence[str]) -> Component:
    """Volts between pairs of terminals, with every throttle low and with each one up."""
    title = html.Summary("Which terminal is the common? Measure and keep it")
    if not fit_supplies:
        return html.Details(
            [title, html.P("No supply has passed its bench check: nothing is measured live before.")], className="entry"
        )
    supplies = [html.Option(name, value=name) for name in fit_supplies]
    rails = [html.Option(f"{count} rails", value=str(count), selected=count == plan.rails) for count in (3, 2)]
    meters = [
        html.Option(words, value=value) for words, value in (("as the supply gives", ""), ("AC volts", "ac"), ("DC volts", "dc"))
    ]
    form = html.Form(
        [
            html.P(f"{CARE} A lamp across the pair as a small load. Pairs left empty count as not measured.", className="none"),
            html.Label([html.Span("Which supply"), html.Select(supplies, **hook(key="supply"), **aria(label="Which supply"))]),
            html.Label([html.Span("Meter on"), html.Select(meters, **hook(key="meter"), **aria(label="Meter on"))]),
            html.Label([html.Span("Track"), html.Select(rails, **hook(key="rails"), **aria(label="Track"))]),
            html.Label(
                [
                    html.Span("Its terminals as marked, with spaces between"),
                    html.Span(**hook(entry="names", mode="text", label="Terminals")),
                ]
            ),
            html.Label(
                [
                    html.Span("Its throttles, with spaces between"),
                    html.Span(**hook(entry="throttles", mode="text", label="Throttles")),
                ]
            ),
            html.Div(**hook(pairs="")),
            html.Div([html.Button("Work it out and keep it", type="submit")]),
            html.P(className="said", role="status", **hook(said="")),
        ],
        **hook(terminals=""),
    )
    return html.Details([title, form], className="entry")
