"""The bench card of one supply: its verdict with every reason, and the form of its check."""

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.shell import strokes
from monitor.layout import Supply
from monitor.planning.bench_check import BenchVerdict, Fitness
from monitor.planning.bench_questions import QUESTIONS, Question

LEVELS = {Fitness.FIT: "well", Fitness.UNKNOWN: "doubt", Fitness.REPAIR: "medium", Fitness.DO_NOT_ENERGISE: "high"}


def bench_card(supply: Supply, verdict: BenchVerdict, *, may_keep: bool, anyway: bool) -> Component:
    """The card.

    Args:
        supply: The supply.
        verdict: Of its check.
        may_keep: Whether answers can be written into the layout file.
        anyway: Whether a person set the verdict aside.
    """
    unit = "VA" if supply.rated_va is not None else "W"
    checked = supply.condition.checked_on if supply.condition is not None else None
    reasons = [html.Li([html.B(reason.finding), f" {reason.remedy}"]) for reason in verdict.reasons]
    reasons += [html.Li(f"Still to look at: {question}") for question in verdict.open_questions]
    plate = f"{supply.plate_va:g} {unit}, up to {supply.max_volts:g} V {supply.current.upper()}. Checked: {checked or 'not yet'}."
    return html.Section(
        [
            html.Div([html.H2(supply.name), _chip(verdict)], className="top"),
            html.P(plate, className="none"),
            *([html.P("Used against this verdict, because you said so.", className="anyway")] if anyway else []),
            html.Ul(reasons, className="reasons"),
            html.Ul([html.Li(note) for note in verdict.notes], className="reasons none"),
            _form(supply) if may_keep else html.P("Run with a layout file of your own to keep answers here.", className="none"),
            *([_anyway(supply, anyway=anyway)] if may_keep and (anyway or verdict.fitness > Fitness.UNKNOWN) else []),
        ],
        className="panel bench",
        **hook(level=LEVELS[verdict.fitness]),
    )


def _chip(verdict: BenchVerdict) -> Component:
    return html.Span([strokes(), html.Span(verdict.fitness.sentence, className="word")], className="chip verdict")


def _form(supply: Supply) -> Component:
    caution = "Unplug it before you touch it; look and feel only, never open the case."
    fields = [_field(supply, question) for question in QUESTIONS]
    button = html.Button("Keep the answers with the layout", type="submit")
    said = html.P(className="said", role="status", **hook(said=""))
    form = html.Form([html.P(caution, className="none"), *fields, html.Div([button]), said], **hook(bench=supply.name))
    return html.Details([html.Summary("Bench check: answer the questions"), form])


def _field(supply: Supply, question: Question) -> Component:
    known = getattr(supply.condition, question.key, None)
    marks = hook(key=question.key)
    if question.answers == ("year",):
        entry: Component = html.Div(
            # Dash has no plain input element of its own for a form that a script reads; an editable select would allow no year.
            html.Span(
                str(known or ""), contentEditable="true", role="textbox", className="year", **marks, **aria(label=question.text)
            )
        )
    else:
        chosen = known if isinstance(known, str) else {True: "yes", False: "no", None: ""}[known]
        answers = ("", *(question.answers or ("yes", "no")))
        options = [html.Option(answer or "not looked at", value=answer, selected=answer == chosen) for answer in answers]
        entry = html.Select(options, **marks, **aria(label=question.text))
    return html.Label([html.Span(question.text), entry])


def _anyway(supply: Supply, *, anyway: bool) -> Component:
    words = "Heed the verdict again" if anyway else "Use it all the same, against this verdict"
    said = html.P(className="said", role="status", **hook(said=""))
    form = html.Form(
        [html.Div([html.Button(words, type="submit")]), said], **hook(anyway=supply.name, use="false" if anyway else "true")
    )
    title = "The verdict is set aside" if anyway else "Set the verdict aside"
    return html.Details([html.Summary(title), form])
