"""The bench card of one supply: its verdict with every reason, and the form of its check."""

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.shell import strokes
from monitor.layout import Supply
from monitor.planning.bench_check import BenchVerdict, Fitness
from monitor.planning.bench_questions import QUESTIONS, Question

LEVELS = {
    Fitness.FIT: "well",
    Fitness.NOT_JUDGED: "doubt",
    Fitness.REPAIR_FIRST: "medium",
    Fitness.NOT_HERE: "high",
    Fitness.DO_NOT_ENERGISE: "high",
}


def bench_card(supply: Supply, verdict: BenchVerdict, *, may_keep: bool, aside: str = "") -> Component:
    """The card of a supply; aside says who set its verdict aside and why."""
    unit = "VA" if supply.rated_va is not None else "W"
    checked = supply.condition.checked_on if supply.condition is not None else None
    reasons = [html.Li([html.B(reason.finding), f" {reason.remedy}"]) for reason in verdict.reasons]
    reasons += [html.Li(f"Still to look at: {question}") for _, question in verdict.open_questions]
    plate = f"{supply.plate_va:g} {unit}, up to {supply.max_volts:g} V {supply.current.upper()}. Checked: {checked or 'not yet'}."
    return html.Section(
        [
            html.Div([html.H2(supply.name), _chip(verdict)], className="top"),
            html.P(plate, className="none"),
            *([html.P(f"Beware: {aside}.", className="set-aside")] if aside else []),
            html.Ul(reasons, className="reasons"),
            html.Ul([html.Li(note) for note in verdict.notes], className="reasons none"),
            _form(supply) if may_keep else html.P("Run with a layout file of your own to keep answers here.", className="none"),
            *([_set_aside(supply, is_set=bool(aside))] if may_keep and _may_set_aside(verdict, aside) else []),
        ],
        className="panel bench",
        **hook(level=LEVELS[verdict.fitness]),
    )


def _chip(verdict: BenchVerdict) -> Component:
    return html.Span([strokes(), html.Span(verdict.fitness.sentence, className="word")], className="chip verdict")


def _form(supply: Supply) -> Component:
    caution = "Switch the strip off and unplug it before you touch it; look and feel only, never open the case."
    fields = [_field(supply, question) for question in QUESTIONS]
    button = html.Button("Keep the answers with the layout", type="submit")
    said = html.P(className="said", role="status", **hook(said=""))
    form = html.Form([html.P(caution, className="none"), *fields, html.Div([button]), said], **hook(bench=supply.name))
    return html.Details([html.Summary("Bench check: answer the questions"), form])


def _field(supply: Supply, question: Question) -> Component:
    known = _known(supply, question.key)
    marks = hook(key=question.key)
    if question.takes not in ("word", "yes or no"):
        entry: Component = html.Div(
            # Dash has no plain input element of its own for a form that a script reads; an editable select would allow no year.
            html.Span(
                _typed(known), contentEditable="true", role="textbox", className="year", **marks, **aria(label=question.text)
            )
        )
    else:
        chosen = known if isinstance(known, str) else "" if known is None else "yes" if known else "no"
        answers = ("", *(question.answers or ("yes", "no")))
        options = [html.Option(answer or "not looked at", value=answer, selected=answer == chosen) for answer in answers]
        entry = html.Select(options, **marks, **aria(label=question.text))
    return html.Label([html.Span(question.text), entry])


def _known(supply: Supply, key: str) -> object:
    """The answer that the layout file has."""
    kind, _, name = key.rpartition(".")
    part = supply if kind == "supply" else getattr(supply, kind or "condition")
    return getattr(part, name, None)


def _typed(known: object) -> str:
    """An answer as a person types it."""
    if isinstance(known, tuple):
        return ", ".join(f"{each:g}" for each in known)
    return "" if known is None else f"{known:g}" if isinstance(known, float) else str(known)


def _may_set_aside(verdict: BenchVerdict, aside: str) -> bool:
    return bool(aside) or (not verdict.is_fit and not any(reason.is_final for reason in verdict.reasons))


def _set_aside(supply: Supply, *, is_set: bool) -> Component:
    said = html.P(className="said", role="status", **hook(said=""))
    entries = [
        html.Label(
            [
                html.Span(words),
                html.Span(contentEditable="true", role="textbox", className="year", **hook(key=key), **aria(label=words)),
            ]
        )
        for key, words in (("reason", "Why"), ("by", "Who answers for it"))
    ]
    caution = "This does not make it safe. It is recorded with your name, shown wherever the supply is shown, and sharing gives it no load."
    parts = [html.P(caution, className="none"), *entries] if not is_set else []
    words = "Heed the verdict again" if is_set else "Set the verdict aside"
    form = html.Form(
        [*parts, html.Div([html.Button(words, type="submit")]), said],
        **hook(aside=supply.name, use="false" if is_set else "true"),
    )
    return html.Details([html.Summary("The verdict is set aside" if is_set else "Set the verdict aside"), form])
