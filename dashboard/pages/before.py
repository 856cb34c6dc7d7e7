"""The page before the show: everything that is planned, worked out from the layout file and the plan file beside it."""

import dash
import msgspec
from dash import html
from dash.development.base_component import Component
from flask import request

from dashboard.views.before_page import Plans, SupplyVerdict, before_page
from dashboard.watch import WatchLike
from dashboard.worker_pool import BusyError, WorkerPool, asker_of
from monitor.errors import LayoutError
from monitor.layout import Layout, load_layout
from monitor.planning.bench_check import check_all, refused, today_here
from monitor.planning.bench_questions import inspection_sheet
from monitor.planning.budget import BudgetOptions, make_budget
from monitor.planning.morning import morning_items
from monitor.planning.phasing_guide import guide
from monitor.planning.plan_file import Plan
from monitor.planning.plan_load import load_plan
from monitor.planning.share_values import ShareOptions, needs_of, offers_of
from monitor.planning.share_words import brief, draw_share, explain, unfit_words
from monitor.planning.sharing import alternatives, by_price_per_va, share_load
from monitor.planning.wiring_card import draw_card
from monitor.runtime.past_troubles import past_troubles

STATES_KEPT = 4
SHARE_SECONDS_LIMIT = 30.0
"""Half of what a worker may take for one job; 'pilotlamp share' takes as long as the plan file allows."""


def register(app: dash.Dash, watch: WatchLike) -> None:
    """Register the page."""
    pool: WorkerPool = app.server.extensions[WorkerPool.__name__]
    # Sharing may take the solver long, so it is worked at elsewhere, and a state that was seen before is not worked at again.
    seen: dict[tuple[bytes, bytes], Plans] = {}

    def layout(**_query: str) -> Component:
        now, plan, trouble = as_it_stands(watch)
        state = msgspec.json.encode(now), msgspec.json.encode(plan)
        try:
            if state not in seen:
                plans = pool.run(asker_of(request), encoded_plans, *state, watch.layout_path is not None)
                for oldest in list(seen)[: 1 - STATES_KEPT]:
                    del seen[oldest]
                seen[state] = plans
            past = ([], "") if watch.recordings is None else pool.run(asker_of(request), past_troubles, watch.recordings, now)
        except BusyError as error:
            return html.P(str(error), role="alert")
        phasings, (troubles, day) = watch.live.picture().phasings, past
        standing = SupplyVerdict(troubles=tuple(troubles), day=day, phasings=phasings, file_trouble=trouble)
        return before_page(now, seen[state], standing)

    dash.register_page("before", path="/before", name="Before", title="Before the show", order=5, layout=layout, in_menu=True)


def as_it_stands(watch: WatchLike) -> tuple[Layout, Plan, str]:
    """The layout file and the plan file as they are now, so that what was kept shows, and what is wrong with them.

    The watched layout and the default plan stand for a file that cannot be read any more.
    """
    if watch.layout_path is None:
        return watch.layout, Plan(), ""
    try:
        layout = load_layout(watch.layout_path)
    except LayoutError as error:
        return watch.layout, Plan(), str(error)
    try:
        return layout, load_plan(watch.layout_path, layout), ""
    except LayoutError as error:
        return layout, Plan(), str(error)


def encoded_plans(encoded: bytes, encoded_plan: bytes, may_keep: bool) -> Plans:  # noqa: FBT001 - a job takes no keywords
    """The same of a layout and a plan as JSON, for a worker."""
    layout, plan = msgspec.json.decode(encoded, type=Layout), msgspec.json.decode(encoded_plan, type=Plan)
    today = today_here()
    verdicts = check_all(layout, plan, today=today)
    budget = make_budget(layout, BudgetOptions.of_plan(plan, verdicts), plan)
    needs, offers = needs_of(layout, plan), offers_of(layout, today=today, plan=plan)
    options = ShareOptions.of_plan(msgspec.structs.replace(plan, share_seconds=min(plan.share_seconds, SHARE_SECONDS_LIMIT)))
    share = share_load(needs, offers, options)
    others = alternatives(needs, offers, options)[1:] if share.fits else []
    return Plans(
        verdicts=verdicts,
        budget=budget,
        plan=plan,
        share=share,
        share_words=(*unfit_words(offers), *explain(share, needs, offers, options).splitlines()),
        share_picture=draw_share(share, needs, offers, plan.reserve),
        others=tuple(f"{other.price_per_va:.2f} a usable VA: {brief(other, needs)}" for other in others),
        ranking=tuple((offer.name, price) for offer, price in by_price_per_va(offers)),
        wiring_picture=draw_card(layout, plan, refused(verdicts)),
        phasing=guide(layout, verdicts, plan),
        morning=tuple(morning_items(layout, verdicts, budget)),
        sheet=inspection_sheet(layout, plan, verdicts, today=today),
        may_keep=may_keep,
    )
