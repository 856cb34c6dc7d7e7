"""The bar over every page of a replay: that it is one, where it is, and what moves it."""

from dash import html
from dash.development.base_component import Component

from dashboard.views.attributes import aria, hook
from monitor.runtime.replay import Replay

SPEEDS = (1, 2, 5, 10, 20, 60)
VERDICTS = "What the protections of this layout would have done"


def replay_bar(replay: Replay) -> Component:
    """The bar; the page's script fills and moves it."""
    manifest = replay.session.manifest()
    began = manifest.began_at.astimezone()
    judged = "by another layout file" if replay.is_rejudged else "by its own layout"
    invented = " Invented: nothing in it was measured." if manifest.invented else ""
    return html.Section(
        [
            html.P(
                [
                    html.Strong("A replay, not the present: "),
                    f"{began:%d %B %Y, %H:%M}, judged {judged}.{invented}",
                ]
            ),
            html.Div(
                [
                    _button("toggle", "Pause"),
                    _button("step", "A step"),
                    _button("next", "Next event"),
                    _button("again", "To the start"),
                    html.Span([_speed(speed) for speed in SPEEDS], className="speeds", role="group", **aria(label="Speed")),
                    html.Span("", className="where", **hook(replay_where="")),
                ],
                className="moves",
            ),
            html.Span("", className="unseen", role="status", **hook(replay_said="")),
            html.Div(**hook(replay_slide="")),
            html.Ul([], className="verdicts", hidden=True, **hook(replay_verdicts=""), **aria(label=VERDICTS)),
            html.Div("Replay", className="replay-tag", hidden=True, **hook(replay_tag=""), **aria(hidden="true")),
        ],
        className="replay",
        **hook(replay="", scripts="replay"),
        **aria(label="Replay"),
    )


def verdict_lines(replay: Replay) -> list[str]:
    """Would that breaker have opened? One line an answer, for a session that is judged by another layout."""
    return [verdict.line(replay.status().first_s) for verdict in replay.verdicts()]


def _button(does: str, text: str) -> Component:
    return html.Button(text, type="button", **hook(replay_do=does))


def _speed(speed: int) -> Component:
    return html.Button(f"{speed}×", type="button", **hook(replay_speed=str(speed)), **aria(pressed="false"))
