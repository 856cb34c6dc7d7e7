"""The feed: one payload a tick, made once and shared by all viewers.

Nothing is kept per viewer: the browser holds its own cursor. The first request after a tick is due makes the payload, the others
get the same bytes; a slow viewer misses ticks, it never queues them.
"""

import secrets
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import msgspec
from flask import Blueprint, Response, request

from dashboard.views.detail import detail
from dashboard.views.payload import tick, trace
from dashboard.views.plots import history_plot
from dashboard.watch import WatchLike
from monitor.runtime.live import Live
from monitor.runtime.trend import BUCKETS
from monitor.values.json_text import json_bytes

TICK_S = 0.16
"""Seconds between payloads: a little over six a second."""
HEALING_BUCKETS = 5
"""Trace buckets in each payload: a viewer that missed less than a second needs nothing else."""
TRACE_BUCKETS = 301
"""One minute."""
STREAMS_LIMIT = 64
"""Event streams at a time; viewers beyond them poll."""

_JSON = {"Content-Type": "application/json", "Cache-Control": "no-store"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """One payload.

    Attributes:
        made_s: When it was made, on the monotonic clock.
    """

    number: int
    made_s: float
    body: bytes


class Ticker:
    """Makes one payload a tick for all viewers.

    Args:
        body: Makes the payload of a number.
        tick_s: Seconds between payloads; those of the live page when None.
    """

    def __init__(self, body: Callable[[int], bytes], tick_s: float | None = None) -> None:
        self._body = body
        self._own_tick_s = tick_s
        self._lock = threading.Lock()
        self._latest: Tick | None = None

    def current(self) -> Tick:
        """The payload of this tick."""
        with self._lock:
            if self._latest is None or time.monotonic() - self._latest.made_s >= self._tick_s:
                number = 1 if self._latest is None else self._latest.number + 1
                self._latest = Tick(number=number, made_s=time.monotonic(), body=self._body(number))
            return self._latest

    def due_in_s(self) -> float:
        """Seconds until there is another one; 0 where there is none yet."""
        latest = self._latest
        return 0.0 if latest is None else max(0.0, latest.made_s + self._tick_s - time.monotonic())

    @property
    def _tick_s(self) -> float:
        return TICK_S if self._own_tick_s is None else self._own_tick_s


class Feed:
    """Makes payloads of a watch."""

    def __init__(self, watch: WatchLike) -> None:
        self._watch = watch
        self._runs: tuple[Live, str] | None = None
        self.ticker = Ticker(self._body)

    def window(self) -> bytes:
        """The last minute of all districts: what a viewer starts from."""
        return msgspec.json.encode({"run": self._run(self._watch.live), "trace": trace(self._watch.live.trend(TRACE_BUCKETS))})

    def district(self, name: str) -> bytes | None:
        """Figures and wave of one district; None where there is no such district."""
        row = next((d for d in self._watch.layout.district if d.name == name), None)
        if row is None:
            return None
        live = self._watch.live
        return msgspec.json.encode(detail(self._watch.layout, live.picture(), row, live.wave(name)))

    def history(self, name: str) -> bytes | None:
        """The last minutes of one district as a plot; None where there is no such district."""
        if all(row.name != name for row in self._watch.layout.district):
            return None
        live = self._watch.live
        return msgspec.json.encode(history_plot(live.trend(BUCKETS, district=name), live.now_s()))

    def _body(self, number: int) -> bytes:
        live, layout = self._watch.live, self._watch.layout
        picture = live.picture()
        recent = live.trend(HEALING_BUCKETS, until_s=picture.now_s)
        payload = tick(layout, picture, recent)
        layout_mark = zlib.crc32(repr(layout).encode())
        head = {"run": self._run(live), "layout": layout_mark, "number": number, "made_s": round(time.monotonic(), 3)}
        return json_bytes({**head, **payload})

    def _run(self, live: Live) -> str:
        """Name of this run of the stream: another one when a replay went back to its beginning."""
        if self._runs is None or self._runs[0] is not live:
            self._runs = (live, secrets.token_hex(4))
        return self._runs[1]


def feed_routes(feed: Feed, viewer_came: Callable[[], None] = lambda: None) -> Blueprint:
    """The addresses under /feed; viewer_came is called when somebody begins to look."""
    routes = Blueprint("feed", __name__, url_prefix="/feed")
    streams = Streams()

    @routes.get("/stream")
    def stream() -> Response:
        viewer_came()
        return streams.answer(feed.ticker)

    @routes.get("/now")
    def now() -> Response:
        viewer_came()
        return latest(feed.ticker)

    @routes.get("/window")
    def window() -> Response:
        return json_answer(feed.window())

    @routes.get("/district")
    def district() -> Response:
        return _of_district(feed.district)

    @routes.get("/history")
    def history() -> Response:
        return _of_district(feed.history)

    return routes


def _of_district(asked: Callable[[str], bytes | None]) -> Response:
    body = asked(request.args.get("name", ""))
    return json_answer(body) if body is not None else Response("No such district.\n", status=404)


class EventStream:
    """The body of an answer that goes on: payloads of a ticker, sent by the server (see ``dashboard.asgi``)."""

    def __init__(self, ticker: Ticker, closed: Callable[[], None]) -> None:
        self.ticker = ticker
        self._closed: Callable[[], None] | None = closed

    def __iter__(self) -> Iterator[bytes]:
        """For servers that know no streams: one payload, and browsers ask again."""
        yield b"data: " + self.ticker.current().body + b"\n\n"

    def close(self) -> None:
        """Nobody wants more."""
        closed, self._closed = self._closed, None
        if closed is not None:
            closed()


class Streams:
    """The event streams of a server: so many at a time, whatever they bring."""

    def __init__(self) -> None:
        self._free = threading.BoundedSemaphore(STREAMS_LIMIT)

    def answer(self, ticker: Ticker) -> Response:
        """A stream of payloads, or the advice to poll where all are taken."""
        if request.method == "HEAD":
            return Response(mimetype="text/event-stream", headers={"Cache-Control": "no-store"})
        if not self._free.acquire(blocking=False):
            return Response("All event streams are taken: poll /feed/now instead.\n", status=503, mimetype="text/plain")
        events = EventStream(ticker, self._free.release)
        return Response(events, mimetype="text/event-stream", headers={"Cache-Control": "no-store"}, direct_passthrough=True)


def latest(ticker: Ticker) -> Response:
    """The payload of this tick, for those who poll; nothing where they have it."""
    tick_now = ticker.current()
    if request.args.get("after") == str(tick_now.number):
        return Response(status=204)
    return json_answer(tick_now.body)


def json_answer(body: bytes, status: int = 200) -> Response:
    """JSON that is not cached."""
    return Response(body, status=status, headers=_JSON)
