"""The page before the show, and the address that keeps a bench check's answers with the layout."""

import datetime as dt
import functools
from pathlib import Path

import dash
import msgspec
from dash.development.base_component import Component
from flask import Blueprint, Response, request

from dashboard.access import Gate
from dashboard.views.before_page import Plans, before_page
from dashboard.watch import Watch
from monitor.errors import LayoutError
from monitor.layout import Layout, load_layout
from monitor.layout.edit import Plain, set_supply_condition
from monitor.layout.write import change_layout
from monitor.planning.bench_check import check_bench
from monitor.planning.bench_questions import QUESTIONS, answer_of
from monitor.planning.budget import reckon
from monitor.planning.morning import morning_items
from monitor.planning.offers import needs_of, offers_of
from monitor.planning.phasing_guide import guide
from monitor.planning.sharing import Offer, alternatives, explain, share_load

BODY_LIMIT_BYTES = 4096


class BenchAnswers(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the form sends.

    Attributes:
        supply: Which supply.
        answers: Question key to the answer's word; empty for not looked at.
    """

    supply: str
    answers: dict[str, str]


def register(app: dash.Dash, watch: Watch) -> None:
    """Register the page."""
    del app

    def layout(**_query: str) -> Component:
        now = _as_it_stands(watch)
        return before_page(now, plans_for(now, may_keep=watch.layout_path is not None))

    dash.register_page(
        "before", path="/before", name="Before the show", title="Before the show", order=5, layout=layout, in_menu=True
    )


def plans_for(layout: Layout, *, may_keep: bool) -> Plans:
    """Everything that the page shows, reckoned once for each state of the layout file."""
    return _plans(msgspec.json.encode(layout), may_keep=may_keep)


@functools.lru_cache(maxsize=4)
def _plans(encoded: bytes, *, may_keep: bool) -> Plans:
    # Sharing may take the solver a second or two, so a state that was seen before is not reckoned again.
    layout = msgspec.json.decode(encoded, type=Layout)
    year = _today().year
    verdicts = tuple(check_bench(supply, layout.mains, this_year=year) for supply in layout.supply)
    budget, needs, offers = reckon(layout), needs_of(layout), offers_of(layout, this_year=year)
    share = share_load(needs, offers)
    others = alternatives(needs, offers)[1:] if share.fits else []
    return Plans(
        verdicts=verdicts,
        budget=budget.entries,
        share=share,
        share_words=(*_unfit(offers), *explain(share, needs).splitlines()),
        others=tuple(" ".join(explain(plan, needs).splitlines()) for plan in others),
        phasing=guide(layout),
        morning=tuple(morning_items(layout, verdicts, budget)),
        may_keep=may_keep,
    )


def _unfit(offers: list[Offer]) -> list[str]:
    return [f"{offer.name} gets no load: its bench check forbids it." for offer in offers if not offer.fit]


def bench_routes(watch: Watch, gate: Gate) -> Blueprint:
    """The address /bench: answers of the form."""
    routes = Blueprint("bench", __name__)

    @routes.post("/bench")
    def keep() -> Response:
        refusal = gate.refusal_to_act(request)
        if refusal is not None:
            return _answer(403, refusal)
        if watch.layout_path is None:
            return _answer(409, "This watch has no layout file of its own to keep answers in.")
        try:
            sent = msgspec.json.decode(request.stream.read(BODY_LIMIT_BYTES), type=BenchAnswers)
            keep_answers(watch.layout_path, sent)
        except (msgspec.MsgspecError, LayoutError) as error:
            return _answer(400, f"Not kept: {error}.")
        return _answer(200, "Kept with the layout.")

    return routes


def keep_answers(path: Path, sent: BenchAnswers) -> None:
    """Write the answers into the layout file.

    Raises:
        LayoutError: An answer or the supply is not one that the layout knows, or the file cannot be written.
    """
    known = {question.key: question for question in QUESTIONS}
    findings: dict[str, Plain] = {"checked_on": _today().isoformat()}
    for key, said in sent.answers.items():
        if key not in known:
            raise LayoutError(f'there is no question "{key[:40]}"')
        answer = answer_of(known[key], said)
        if answer is not None:
            findings[key] = answer
    change_layout(path, lambda text: set_supply_condition(text, sent.supply, findings), spare=False)


def _as_it_stands(watch: Watch) -> Layout:
    """The layout file as it is now, so that kept answers show; the watched layout where it cannot be read any more."""
    if watch.layout_path is None:
        return watch.layout
    try:
        return load_layout(watch.layout_path)
    except LayoutError:
        return watch.layout


def _today() -> dt.date:
    return dt.datetime.now().astimezone().date()


def _answer(status: int, sentence: str) -> Response:
    return Response(msgspec.json.encode({"sentence": sentence}), status=status, mimetype="application/json")
