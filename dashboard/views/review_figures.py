"""The figures of a session as tables, of two sessions side by side, and the trends over all."""

from collections.abc import Iterable, Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria
from dashboard.views.figures import NOTHING, figure, volt_amperes
from monitor.layout import Layout
from monitor.sessions.figures import LIMIT_SHARES, STALLS, DistrictReview, SessionReview, Spread, SupplyReview
from monitor.sessions.trends import Compared, side_by_side
from monitor.standing.words import AT_LEAST, WORD_OF_CAUSE
from monitor.words.figures import percent, seconds

COUNTS = ("stalls", "warnings")


def district_table(figures: SessionReview) -> Component:
    """Every district: how long it was measured, volts, amps, power, energy, time above its output's limit."""
    has_limit = any(district.above_s for district in figures.districts)
    limits = [f"above {percent(share)} of its output's amps" for share in LIMIT_SHARES] if has_limit else []
    heads = (
        "District", "measured", "volts mean", "lowest V", "amps mean", "mostly below", "highest A", "VA mean", "mostly below",
        "VA highest second", "Wh", *limits, "feeder ohms", "stalls",
    )  # fmt: skip
    return table(heads, (_district_row(district, has_limit=has_limit) for district in figures.districts), "Districts")


def _district_row(district: DistrictReview, *, has_limit: bool) -> list[str]:
    volts, amps, va = district.volts, district.amps, district.volt_amperes
    of_volts, of_amps, of_power = (
        AT_LEAST[each] for each in (district.volts_clipped, district.amps_clipped, district.power_clipped)
    )
    return [
        district.name,
        seconds(district.measured_s),
        of_volts + _part(volts, "mean", 1),
        figure(district.volts_lowest, 1),
        of_amps + _part(amps, "mean", 2),
        of_amps + _part(amps, "high", 2),
        of_amps + _part(amps, "highest", 2),
        *(of_power + volt_amperes(None if va is None else value) for value in _all(va)),
        of_power + figure(district.energy_wh, 2),
        *((_above(district.above_s, share) for share in LIMIT_SHARES) if has_limit else ()),
        figure(district.loop_ohms, 2),
        str(sum(district.stalls.values())),
    ]


def supply_table(figures: SessionReview, layout: Layout) -> Component:
    """Every supply: power, share of its plate, time above each limit, its own ohms, its protection."""
    limits = [f"above {percent(share)} of plate" for share in LIMIT_SHARES]
    heads = (
        "Supply", "plate", "VA mean", "mostly below", "highest second", "share of plate, mean", "highest", *limits, "resistance, ohms",
        "protection opened after",
    )  # fmt: skip
    plates = {supply.name: supply.plate_va for supply in layout.supply}
    return table(heads, (_supply_row(supply, plates.get(supply.name)) for supply in figures.supplies), "Supplies")


def _supply_row(supply: SupplyReview, plate_va: float | None) -> list[str]:
    return [
        supply.name,
        f"{volt_amperes(plate_va)} VA",
        *(volt_amperes(value, at_least=supply.clipped) for value in _all(supply.volt_amperes)),
        *(AT_LEAST[supply.clipped] + percent(share) for share in (supply.share_mean, supply.share_highest)),
        *(_above(supply.above_s, share) for share in LIMIT_SHARES),
        figure(supply.source_ohms, 2),
        ", ".join(seconds(each) for each in supply.opened_after_s) or "never opened",
    ]


def stall_table(figures: SessionReview) -> Component:
    """How often each cause stopped or hindered a train, by district."""
    causes = [cause for cause in STALLS if any(cause in district.stalls for district in figures.districts)]
    if not causes:
        return html.P("Nothing stopped a train.", className="quiet")
    heads = ("District", *(WORD_OF_CAUSE[cause] for cause in causes), "an hour")
    hours = figures.duration_s / 3600
    rows = (
        [
            district.name,
            *(str(district.stalls.get(cause, 0)) for cause in causes),
            figure(sum(district.stalls.values()) / hours if hours > 0 else None, 1),
        ]
        for district in figures.districts
    )
    return table(heads, rows, "What stopped trains")


def compared_table(first: SessionReview, second: SessionReview) -> Component:
    """All figures of two sessions, place by place, and how much each changed."""
    names = [f"{each.began_at.astimezone():%d %b %Y, %H:%M}" for each in (first, second)]
    heads = ("Figure", *names, "change")
    places: dict[str, list[Compared]] = {}
    for row in side_by_side(first, second):
        places.setdefault(row.where or "The layout", []).append(row)
    bodies: list[Component] = [html.Thead(_head(heads))]
    for place, rows in places.items():
        named = html.Tr(html.Th(place, scope="rowgroup", colSpan=len(heads)), className="place")
        bodies.append(html.Tbody([named, *(_row(_compared_row(row)) for row in rows)]))
    return _scrolled(html.Table(bodies, className="figures-table compared"), "Side by side")


def _compared_row(row: Compared) -> list[str]:
    digits = 0 if row.figure in COUNTS else 2
    change = row.change
    said = NOTHING if change is None else signed(change, digits)
    values = zip(row.at_least, (row.first, row.second), strict=True)
    return [row.figure, *(figure(value, digits, at_least=is_bound) for is_bound, value in values), said]


def signed(value: float, digits: int) -> str:
    """With its sign, also where it is more; none where nothing of it is left."""
    return f"{value:+.{digits}f}".replace("-", "−") if round(value, digits) else f"{0:.{digits}f}"


def losses(figures: SessionReview) -> Component | None:
    """What is missing of a session; None where nothing is."""
    if not figures.losses:
        return None
    return html.P(f"Not all of it is there: {'; '.join(figures.losses)}.", className="losses")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], name: str) -> Component:
    """A table that may be scrolled sideways; the first column names the row, the name serves who cannot see what it stands under."""
    return _scrolled(
        html.Table([html.Thead(_head(heads)), html.Tbody([_row(row) for row in rows])], className="figures-table"), name
    )


def _head(heads: Sequence[str]) -> Component:
    return html.Tr([html.Th(text, scope="col", className=None if k else "words") for k, text in enumerate(heads)])


def _row(cells: Sequence[str]) -> Component:
    return html.Tr([html.Th(cells[0], scope="row"), *(html.Td(cell) for cell in cells[1:])])


def _scrolled(inner: Component, name: str) -> Component:
    return html.Div(inner, className="scroll", tabIndex="0", role="region", **aria(label=name))


def _part(spread: Spread | None, part: str, decimals: int) -> str:
    return figure(None if spread is None else getattr(spread, part), decimals)


def _all(spread: Spread | None) -> tuple[float | None, float | None, float | None]:
    return (None, None, None) if spread is None else (spread.mean, spread.high, spread.highest)


def _above(above_s: dict[float, float], share: float) -> str:
    return seconds(above_s[share]) if share in above_s else NOTHING
