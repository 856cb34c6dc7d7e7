"""Learning a load's draw from what its district draws now, and keeping it with the layout, at one address."""

from functools import partial
from typing import Annotated

import msgspec
from flask import Blueprint, Response, request
from msgspec import Meta, Struct

from dashboard.requests import answer, read_request
from dashboard.watch import WatchLike
from dashboard.worker_pool import BusyError, WorkerPool, asker_of
from monitor.errors import LayoutError
from monitor.layout import load_layout
from monitor.layout.edit import change_layout, set_load_draw
from monitor.planning.bench_check import today_here
from monitor.planning.learning import ROW_S, LearntDraw, learn_draw, load_to_learn


class LearnRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the page asks for.

    Attributes:
        seconds: How far back to look.
        also: Other loads of its district that were on.
        until_s: Stream second to look back from; now when None. What was shown before is kept by giving its second again.
        keep: Write it into the layout file.
    """

    load: Annotated[str, Meta(max_length=80)]
    seconds: Annotated[float, Meta(ge=5, le=590)]
    also: Annotated[tuple[Annotated[str, Meta(max_length=80)], ...], Meta(max_length=100)] = ()
    until_s: Annotated[float, Meta(ge=0, le=1e9)] | None = None
    keep: bool = False


def learning_routes(watch: WatchLike, pool: WorkerPool) -> Blueprint:
    """The address /learn; the work is done by worker processes."""
    routes = Blueprint("learning", __name__)

    @routes.post("/learn")
    def learn() -> Response:
        try:
            body = read_request(LearnRequest)
            until_s = watch.live.now_s() if body.until_s is None else body.until_s
            learnt = _learnt(watch, pool, body, until_s)
            if body.keep:
                return _kept(watch, learnt)
        except BusyError as error:
            return answer(503, str(error), until_s=None)
        except (msgspec.MsgspecError, LayoutError) as error:
            return answer(400, f"Not learnt: {error}.", until_s=None)
        return answer(200, learnt.sentence, until_s=until_s)

    return routes


def _learnt(watch: WatchLike, pool: WorkerPool, body: LearnRequest, until_s: float) -> LearntDraw:
    layout = watch.layout if watch.layout_path is None else load_layout(watch.layout_path)
    load, others = load_to_learn(layout, body.load, body.also)
    try:
        window = watch.live.trend(round(body.seconds / ROW_S), load.district, until_s)
    except KeyError as error:
        raise LayoutError(
            "this watch began before the layout file had that district: start it again", table=f'district "{load.district}"'
        ) from error
    learn = partial(learn_draw, others=others)
    return pool.run(asker_of(request), learn, load.name, window.volts_rms[:, 0], window.amps_rms[:, 0], window.watts[:, 0])


def _kept(watch: WatchLike, learnt: LearntDraw) -> Response:
    if watch.layout_path is None:
        return answer(409, "This watch has no layout file of its own to keep it in.", until_s=None)
    keys = learnt.keys(today_here().isoformat())
    change_layout(watch.layout_path, lambda text: set_load_draw(text, learnt.load, keys))
    return answer(200, "Kept with the layout.", until_s=None)
