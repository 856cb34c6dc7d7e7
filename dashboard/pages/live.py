"""The live page: every district at once."""

import dash
from dash.development.base_component import Component

from dashboard.pages.before import as_it_stands
from dashboard.views.live_page import live_page
from dashboard.watch import WatchLike
from monitor.planning.bench_check import check_all, refused, today_here


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page at the root."""
    del app

    def layout(**_query: str) -> Component:
        return live_page(watch.layout, refused=_refused(watch))

    dash.register_page("live", path="/", name="Live", title=f"{watch.layout.title} – live", order=0, layout=layout, in_menu=True)


def _refused(watch: WatchLike) -> dict[str, str]:
    """Supplies that the bench check does not pass; a demo or a replay energises nothing."""
    if watch.layout_path is None:
        return {}
    layout, plan, _ = as_it_stands(watch)
    return refused(check_all(layout, plan, today=today_here()))
