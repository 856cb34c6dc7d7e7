"""The page before the show: bench checks, budget, sharing, phasing and the list to tick off."""

from collections.abc import Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.shell import strokes
from monitor.layout import Layout, Supply
from monitor.planning.bench_check import BenchVerdict, Fitness
from monitor.planning.bench_questions import QUESTIONS, Question
from monitor.planning.budget import BudgetEntry, LimitUse
from monitor.planning.sharing import SharePlan

LEVELS = {Fitness.FIT: "well", Fitness.UNKNOWN: "doubt", Fitness.REPAIR: "medium", Fitness.DO_NOT_ENERGISE: "high"}
NEAR_SHARE = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans:
    """What the page shows, reckoned from the layout file.

    Attributes:
        verdicts: Bench verdicts, in file order.
        budget: The power budget.
        share: The cheapest way to share the load.
        share_words: That plan in words, a line each.
        others: Other ways, in words.
        phasing: The phasing walk, plain text.
        morning: Items of the show-morning list.
        may_keep: Whether answers can be written into the layout file.
    """

    verdicts: tuple[BenchVerdict, ...]
    budget: tuple[BudgetEntry, ...]
    share: SharePlan
    share_words: tuple[str, ...]
    others: tuple[str, ...]
    phasing: str
    morning: tuple[str, ...]
    may_keep: bool


def before_page(layout: Layout, plans: Plans) -> Component:
    """The whole page."""
    return html.Main(
        [
            html.Div(
                [
                    _panel("Show morning: print and tick off", _morning(plans.morning), wide=True),
                    *(_bench(layout.supply_named(verdict.supply), verdict, plans.may_keep) for verdict in plans.verdicts),
                    _panel("Power budget: everything running, one start on top", _budget(plans.budget), wide=True),
                    _panel("Sharing the load", _share(plans), wide=True),
                    _panel("Phasing with a meter", html.Pre(plans.phasing, className="walk"), wide=True),
                ],
                className="detail before",
            )
        ],
        className="page",
    )


def _panel(title: str, *children: Component, wide: bool = False) -> Component:
    return html.Section([html.H2(title), *children], className="panel wide" if wide else "panel")


def _morning(items: Sequence[str]) -> Component:
    rows = [html.Li(html.Label([html.Span(className="tick", **aria(hidden="true")), html.Span(item)])) for item in items]
    return html.Ul(rows, className="ticks")


def _bench(supply: Supply, verdict: BenchVerdict, may_keep: bool) -> Component:  # noqa: FBT001 - private, read at once
    unit = "VA" if supply.rated_va is not None else "W"
    top = html.Div([html.H2(supply.name), _verdict(verdict)], className="top")
    reasons = [html.Li([html.B(reason.finding), f" {reason.remedy}"]) for reason in verdict.reasons]
    reasons += [html.Li(f"Still to look at: {question}") for question in verdict.open_questions]
    notes = [html.Li(note) for note in verdict.notes]
    return html.Section(
        [
            top,
            html.P(f"{supply.plate_va:g} {unit}, up to {supply.max_volts:g} V {supply.current.upper()}", className="none"),
            html.Ul(reasons, className="reasons"),
            html.Ul(notes, className="reasons none"),
            _form(supply) if may_keep else html.P("Run with a layout file of your own to keep answers here.", className="none"),
        ],
        className="panel bench",
        **hook(level=LEVELS[verdict.fitness]),
    )


def _verdict(verdict: BenchVerdict) -> Component:
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


def _budget(entries: Sequence[BudgetEntry]) -> Component:
    head = html.Tr([html.Th(text) for text in ("", "typical", "running", "at worst", "tightest limit")])
    rows: list[Component] = []
    for entry in entries:
        draw = entry.draw
        amps = [html.Td(f"{value:.1f} A") for value in (draw.typical_amps, draw.running_amps, draw.worst_amps)]
        rows.append(
            html.Tr([html.Th([html.Small(f"{entry.kind} "), entry.name], scope="row"), *amps, html.Td(_limit(entry.binding))])
        )
        if entry.feeder is not None:
            volts = entry.feeder
            better = f" {volts.better_awg} AWG would mend that." if volts.better_awg is not None else ""
            words = f"feeder loses {volts.lost_volts:.1f} V ({volts.lost_share:.0%}) at worst; {volts.arriving_volts:.1f} V arrive.{better}"
            rows.append(html.Tr([html.Td(words, colSpan=5, className="none")]))
    return html.Div(html.Table([html.Thead(head), html.Tbody(rows)], className="budget"), className="scroll")


def _limit(limit: LimitUse | None) -> Component:
    if limit is None:
        return html.Span("none known", className="none")
    over = limit.share > 1
    much = "over" if over else "near" if limit.share > NEAR_SHARE else "free"
    bar = html.Span(html.Span(style={"width": f"{min(1.0, limit.share):.0%}"}, **hook(much=much)), className="rail")
    words = (
        f"{limit.limit}: {limit.drawn:.1f} of {limit.allowed:.1f} {limit.unit}, {limit.share:.0%}{' – TOO MUCH' if over else ''}"
    )
    return html.Span([bar, words])


def _share(plans: Plans) -> Component:
    bars = [
        html.Div(
            [html.Span(name, className="name"), _share_bar(plans.share, name), html.Span(f"{share:.0%}")], className="sharing"
        )
        for name, share in plans.share.va_share.items()
    ]
    words = [html.Li(line) for line in plans.share_words]
    others = [html.Li(line) for line in plans.others]
    more = [html.P("Other ways that would do:", className="none"), html.Ul(others, className="reasons")] if others else []
    return html.Div([*bars, html.Ul(words, className="reasons"), *more])


def _share_bar(plan: SharePlan, supply: str) -> Component:
    names = ", ".join(need for need, (on, _) in plan.places.items() if on == supply)
    fill = html.Span(names, style={"width": f"{min(1.0, plan.va_share[supply]):.0%}"}, className="fill")
    return html.Span(fill, className="whole")
