"""The page before the show: the list to tick off, bench checks, budget, sharing, wiring and phasing."""

from collections.abc import Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from dashboard.views.before_bench import bench_card
from dashboard.views.before_budget import budget_table, learn_form
from dashboard.views.before_forms import candidate_form, terminals_form
from dashboard.views.help_words import asks, panel
from dashboard.views.markup import svg_image
from monitor.layout import Layout
from monitor.layout.joined_commons import COMMONS
from monitor.planning.bench_check import BenchVerdict
from monitor.planning.budget import Budget
from monitor.planning.cautions import Moment, cautions_at
from monitor.planning.morning import nothing_open, power_down_items
from monitor.planning.plan_file import Plan
from monitor.planning.share_values import SharePlan
from monitor.values import Phasing


@dataclass(frozen=True, slots=True, kw_only=True)
class Plans:
    """What the page shows, computed from the layout file and the plan file.

    Attributes:
        verdicts: Bench verdicts, in file order.
        share: The cheapest way to share the load.
        share_words: That plan in words, a line each.
        share_picture: That plan drawn, SVG.
        others: Other ways, in words.
        ranking: What could be bought, and its price a usable VA; cheapest first.
        wiring_picture: The wiring card, SVG.
        phasing: The phasing walk, plain text.
        morning: Items of the show-morning list.
        sheet: The inspection sheet, plain text.
        may_keep: Whether answers can be written into the layout file.
    """

    verdicts: tuple[BenchVerdict, ...]
    budget: Budget
    plan: Plan
    share: SharePlan
    share_words: tuple[str, ...]
    share_picture: str
    others: tuple[str, ...]
    ranking: tuple[tuple[str, float], ...]
    wiring_picture: str
    phasing: str
    morning: tuple[str, ...]
    sheet: str
    may_keep: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyVerdict:
    """What comes from running and from recordings.

    Attributes:
        troubles: What is still open from the last shows.
        day: The day of those shows; empty where nothing was recorded.
        phasings: How supplies stand to each other, as the board measured it.
        file_trouble: What is wrong with the layout file or the plan file; empty where nothing is.
    """

    troubles: tuple[str, ...] = ()
    day: str = ""
    phasings: tuple[Phasing, ...] = ()
    file_trouble: str = ""


def before_page(layout: Layout, plans: Plans, standing: SupplyVerdict | None = None) -> Component:
    """The whole page."""
    standing = standing or SupplyVerdict()
    return html.Main(
        [
            *([html.P(standing.file_trouble, className="file-trouble", role="alert")] if standing.file_trouble else []),
            _steps(plans),
            *(_step(number, parts) for number, parts in enumerate(_parts(layout, plans, standing), 1)),
        ],
        className="page before",
        **hook(scripts="plan learn ticks"),
    )


STEPS = (
    ("check", "Check", "may each supply be used?"),
    ("wire", "Wire", "which wire goes where?"),
    ("budget", "Load", "are the supplies enough?"),
    ("list", "List", "what is left to look at?"),
)


def _steps(plans: Plans) -> Component:
    """The way through the page: four steps, each with a tick once it is done."""
    is_done = {
        "check": all(verdict.is_fit for verdict in plans.verdicts),
        "budget": all(limit.share <= 1 for entry in plans.budget.entries for limit in entry.limits),
    }
    links = [
        html.A(
            [
                html.Span(str(number), className="number", **aria(hidden="true")),
                html.Strong(name),
                html.Span(asked, className="quiet"),
            ],
            href=f"#step-{key}",
            **hook(step=key, done=str(is_done.get(key, False)).lower()),
        )
        for number, (key, name, asked) in enumerate(STEPS, 1)
    ]
    return html.Nav(links, className="steps", **aria(label="Steps before the show"))


def _step(number: int, parts: list[Component]) -> Component:
    """A step; the style sheet shows the one that the address names, paper shows all."""
    key, name, asked = STEPS[number - 1]
    head = html.H2([f"{number}. {name} ", html.Small(asked)])
    return html.Section([html.Div([head, asks(key)], className="title-row"), *parts], className="step", id=f"step-{key}")


def _parts(layout: Layout, plans: Plans, standing: SupplyVerdict) -> tuple[list[Component], ...]:
    """The panels of each step."""
    # Who has read it once looks for the verdicts.
    first = _folded("At the bench, and when a supply is powered for the first time", _cautions("bench"), is_open=True)
    sheet = _folded("Inspection sheet, to print and sign", html.Pre(plans.sheet, className="walk"))
    check = [html.Div(_cards(layout, plans), className="detail"), panel("First power", "", first, sheet)]
    wire = [
        panel("Wiring card", "", *_wiring(plans)),
        panel(
            "Phasing",
            "",
            _measured_phasing(standing.phasings),
            _folded("Phasing with a meter, step by step", html.Pre(plans.phasing, className="walk")),
        ),
    ]
    budget = [
        panel("Power budget", "", budget_table(plans.budget), learn_form(layout, may_keep=plans.may_keep)),
        panel("Sharing the load", "", *_share(plans)),
    ]
    listed = [
        panel("Show morning: print or tick off", "", *_morning(plans.morning, standing)),
        panel("Before the doors open", "", _ticks(cautions_at("show"))),
        panel("Evening: power down", "", _ticks(tuple(power_down_items(layout)))),
    ]
    return check, wire, budget, listed


def _cautions(moment: Moment) -> Component:
    return html.Ul([html.Li(caution) for caution in cautions_at(moment)], className="reasons")


def _folded(title: str, *children: Component, is_open: bool = False) -> Component:
    return html.Details([html.Summary(title), *children], className="folded", open=is_open)


def _scrolled(words: str, *children: Component) -> Component:
    """What may be wider than the screen, and can be scrolled by key."""
    return html.Div(list(children), className="scroll", tabIndex="0", role="region", **aria(label=words))


def _cards(layout: Layout, plans: Plans) -> list[Component]:
    verdicts = {verdict.supply: verdict for verdict in plans.verdicts}
    aside = {each.supply: each.words for each in plans.plan.set_aside}
    return [
        bench_card(supply, verdicts[supply.name], may_keep=plans.may_keep, aside=aside.get(supply.name, ""))
        for supply in layout.supply
        if supply.name in verdicts
    ]


def _morning(items: Sequence[str], standing: SupplyVerdict) -> list[Component]:
    head = html.H3(f"Still open from {standing.day or 'last time'}")
    if not standing.troubles:
        return [_ticks(items), head, html.P(nothing_open(standing.day).strip(), className="none")]
    return [_ticks(items), head, _ticks(standing.troubles)]


def _ticks(items: Sequence[str]) -> Component:
    """Items to tick off; the page's script keeps the ticks of a day on this device."""
    rows = [
        html.Li(
            html.Button(
                [html.Span(className="tick", **aria(hidden="true")), html.Span(item)],
                type="button",
                role="checkbox",
                **aria(checked="false"),
                **hook(tick=item),
            )
        )
        for item in items
    ]
    return html.Ul(rows, className="ticks")


def _share(plans: Plans) -> list[Component]:
    words = [html.Li(line) for line in plans.share_words]
    parts: list[Component] = [
        _scrolled("Sharing, drawn", svg_image(plans.share_picture, "Which supply carries what; in words below", "drawn")),
        html.Ul(words, className="reasons"),
    ]
    if plans.others:
        parts += [
            html.P("Other ways that would do, by price a usable VA:", className="none"),
            html.Ul([html.Li(line) for line in plans.others], className="reasons"),
        ]
    if plans.ranking:
        ranked = ", ".join(f"{name} {price:.2f}" for name, price in plans.ranking)
        parts.append(html.P(f"Price a usable VA, cheapest first: {ranked}.", className="none"))
    parts.append(_folded("Before a hand touches a wire", _cautions("wiring"), is_open=True))
    return [*parts, *([candidate_form(plans.plan.candidate)] if plans.may_keep else [])]


def _wiring(plans: Plans) -> list[Component]:
    drawn = _scrolled(
        "Wiring card, drawn",
        svg_image(plans.wiring_picture, "Which wire goes where; pilotlamp wiring prints it in words", "drawn"),
    )
    return [
        drawn,
        *(
            [terminals_form(plans.plan, [verdict.supply for verdict in plans.verdicts if verdict.is_fit])]
            if plans.may_keep
            else []
        ),
    ]


def _measured_phasing(phasings: Sequence[Phasing]) -> Component:
    if not phasings:
        return html.P(
            f"Nothing yet: turn two AC supplies up to a low setting, each with a district that a board of its own measures. {COMMONS}",
            className="none",
        )
    rows = [
        html.Li(
            [
                html.B(f"{' and '.join(phasing.supplies)}: {phasing.verdict.replace('-', ' ')}"),
                f", {phasing.difference_volts:.1f} V between the hot posts, {phasing.degrees:.0f}°. {phasing.advice}",
            ],
            **hook(phasing=phasing.verdict),
        )
        for phasing in phasings
    ]
    return html.Ul(rows, className="reasons")
