"""What was done and whether it helped, and how things stand against the last sessions."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.views.stall_words import day_words, figure_change_words, rate_words
from monitor.sessions.runs import Run, figure_changes, rate_against, rate_since
from monitor.values import Action
from monitor.words.figures import seconds

MARKS_SHOWN = 12
SURE_P = 0.05


def effects(now: Run, earlier: Sequence[Run]) -> list[Component]:
    """For each remark of the operators, also of earlier sessions: how often things happened before and since."""
    shown = [_effect(mark, now, [], earlier, None) for mark in now.marks]
    for k, run in enumerate(earlier):
        later = [now, *earlier[:k]]
        shown += [_effect(mark, run, later, earlier[k + 1 :], day_words(run, mark.at_s)) for mark in reversed(run.marks)]
    if not shown:
        return [html.P("Write down what you did, and this tells whether it happens less often since.", className="quiet")]
    caution = "Counted by the time watched. Whether the same trains ran as long, only you know."
    return [html.Ul(shown[:MARKS_SHOWN], className="effects"), html.P(caution, className="quiet")]


def _effect(mark: Action, own: Run, later: Sequence[Run], before: Sequence[Run], day: str | None) -> Component:
    when = day if day is not None else f"{seconds(max(0.0, own.ended_s - mark.at_s))} ago"
    change = rate_since(mark, own, next(iter(before), None), later)
    said = "Too early to tell." if change is None else rate_words(change, "before", "since")
    return html.Li([html.Strong(f"{mark.text} ({mark.district or 'all districts'}), {when}"), html.Span(said)])


def against_earlier(now: Run, earlier: Sequence[Run]) -> list[Component]:
    """Faults an hour and slow figures against the last session, in words."""
    if not earlier:
        words = "There is no earlier session of this layout to compare with. Sessions are kept by themselves while you watch."
        return [html.P(words, className="quiet")]
    last = earlier[0]
    lines = [figure_change_words(change) for change in figure_changes(now.figures, earlier)]
    rows = [html.Li([html.Strong(line), html.Span(meaning, className="quiet")]) for line, meaning in [*lines, *_rates(now, last)]]
    if not rows:
        return [html.P(f"Too early to compare with {day_words(last)}.", className="quiet")]
    return [html.Ul(rows, className="slow")]


def _rates(now: Run, last: Run) -> list[tuple[str, str]]:
    """All districts together, then those where it is not chance."""
    whole = rate_against(now, last)
    if whole is None:
        return []
    day = f"on {day_words(last)}"
    found = [("Everything that went wrong", rate_words(whole, day, "this time"))]
    for district in sorted({fault.district for fault in (*now.faults, *last.faults)}):
        change = rate_against(now, last, district)
        if change is not None and change.p_value <= SURE_P:
            found.append((f"{district} alone", rate_words(change, day, "this time")))
    return found
