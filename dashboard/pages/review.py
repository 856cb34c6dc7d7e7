"""The Review page: recorded sessions, one whole or two side by side, and trends over all."""

import dash
from dash import Input, Output, State, ctx
from dash.development.base_component import Component

from dashboard import session_jobs
from dashboard.review_files import ReviewFiles
from dashboard.session_cache import Listed, SessionCache
from dashboard.stall_source import StallSources
from dashboard.trend_job import TrendJob
from dashboard.views.review import no_moment, review_page
from dashboard.views.review_trends import trend_button, trend_figures, trend_words
from dashboard.views.stalls import moment
from dashboard.watch import WatchLike
from dashboard.worker_pool import Asker, BusyError, WorkerPool
from monitor.runtime.replay import Replay

AT_ONCE = 8
"""So few sessions are gone through without being asked to."""

Chosen = list[str | None]


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page, its addresses and its callbacks."""
    cache = SessionCache(watch.recordings)
    pool: WorkerPool = app.server.extensions[WorkerPool.__name__]
    played = watch.session.name if isinstance(watch, Replay) else ""

    def layout(session: str = "", beside: str = "", at: str = "", **_query: str) -> Component:
        listing = cache.listing()
        chosen = _chosen(listing, played if session == "now" and played else session)
        other = next((each for each in listing if each.id == beside and each is not chosen), None)
        return review_page(listing, chosen, other, session, at)

    _show_moments(app, StallSources(watch, cache, pool))
    app.server.register_blueprint(ReviewFiles(cache, pool).routes())
    dash.register_page("review", path="/review", name="Review", title="Review", order=4, layout=layout, in_menu=True)

    here = Asker(address="trends", is_here=True)
    _show_trends(app, cache, TrendJob(lambda listed: pool.run(here, session_jobs.session_figures, watch.recordings, listed.id)))


def _show_trends(app: dash.Dash, cache: SessionCache, job: TrendJob) -> None:

    @app.callback(
        Output("trend-said", "children"),
        Output("trend-do", "children"),
        Output("trend-do", "hidden"),
        Output("trend-found", "children"),
        Input("review-tick", "n_intervals"),
        Input("trend-do", "n_clicks"),
        State("review-chosen", "data"),
        State("trend-do", "children"),
    )
    def update(_ticks: int, _clicks: int, chosen: Chosen, shown: str) -> tuple[object, ...]:
        sessions = _alike(cache.listing(), chosen[0])
        before = job.state(sessions)
        # A tick and a press may come together; then the first of them alone is the triggered one.
        pressed = "trend-do" in ctx.triggered_prop_ids.values()
        if pressed and before.state in ("working", "stopping"):
            job.stop()
        elif (pressed and before.state != "done") or (before.state == "idle" and 0 < len(sessions) <= AT_ONCE):
            job.start(sessions)
        elif ctx.triggered_id and shown == trend_button(before) and before.state not in ("working", "stopping"):
            raise dash.exceptions.PreventUpdate
        state = job.state(sessions)
        button = trend_button(state)
        return trend_words(state, sessions[0].title if sessions else ""), button, not button, trend_figures(state)


def _show_moments(app: dash.Dash, sources: StallSources) -> None:
    @app.callback(Output("review-moment", "children"), Input("review-event", "data"), prevent_initial_call=True)
    def show(chosen: object) -> list[Component | None]:
        """The samples around an event of a recorded session, as the Stalls page shows them."""
        asked = chosen if isinstance(chosen, dict) else {}
        session_id = str(asked.get("session", ""))
        if not session_id:
            return no_moment()
        try:
            source = sources.find(session_id)
            if source is None:
                return no_moment("This session cannot be read any more.")
            picture = source.picture()
            event = next((each for each in picture.events if each.id == asked.get("event")), None)
            if event is None:
                return no_moment("This session holds no such event.")
            snapshot = sources.snapshot(source, event)
        except BusyError as error:
            return no_moment(str(error))
        return moment(event, snapshot, picture, source.clock(event.start_s), session_id, source.layout)


def _chosen(listing: list[Listed], asked: str) -> Listed | None:
    """What was asked for, "now" for the one that is being recorded; where nothing was, the newest one that is over."""
    if asked == "now":
        return next((each for each in listing if each.is_recorded_now), next(iter(listing), None))
    if asked:
        return next((each for each in listing if each.id == asked), None)
    return next((each for each in listing if each.length_s is not None), next(iter(listing), None))


def _alike(listing: list[Listed], chosen: str | None) -> list[Listed]:
    """Closed sessions of the same layout, all measured or all invented: other ones do not compare. Oldest first."""
    own = next((each for each in listing if each.id == chosen), None)
    return [] if own is None else [
        each for each in reversed(listing) if each.length_s is not None and (each.title, each.invented) == (own.title, own.invented)
    ]  # fmt: skip
