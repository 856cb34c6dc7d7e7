"""The hall's feed: one payload a tick of the hall and of each station that somebody looks at."""

import secrets
import threading
import time
import zlib
from collections import OrderedDict
from collections.abc import Callable
from typing import Protocol

import msgspec
from flask import Blueprint, Response, request

from dashboard.feed import TRACE_BUCKETS, Streams, Ticker, json_answer, latest
from dashboard.hall.as_layout import Moment, layout_of
from dashboard.hall.payload import hall_tick, spots, station_tick, station_trace
from monitor.bus.hall_listener import HallPicture
from monitor.bus.hall_values import StationView

TICK_S = 0.25
"""A station sends twice a second; a longer pause here would make half of what it says half a second old."""
TICKERS_KEPT = 64


class Hall(Protocol):
    """What the pages look at: a hall that is listened to, or anything of its shape."""

    def look(self, hall: str | None = None, station: str | None = None) -> HallPicture:
        """How everything stands, or one station of a hall."""


class HallFeed:
    """Makes payloads of a hall; the page's time begins with this program."""

    def __init__(self, hall: Hall, now_s: Callable[[], float] = time.monotonic) -> None:
        self._hall = hall
        self._now_s, self._began_s = now_s, now_s()
        self._run = secrets.token_hex(4)
        self._lock = threading.Lock()
        self._tickers: OrderedDict[tuple[str, str], Ticker] = OrderedDict()
        self._all = Ticker(self._hall_body, TICK_S)

    def ticker(self) -> Ticker | None:
        """The payloads that this request asks for; None where nothing is known of that station."""
        wanted = asked_for()
        if wanted is None:
            return self._all
        with self._lock:
            found = self._tickers.pop(wanted, None)
            if found is None and self.station() is not None:
                found = Ticker(lambda number: self._station_body(wanted, number), TICK_S)
            if found is not None:
                self._tickers[wanted] = found
                while len(self._tickers) > TICKERS_KEPT:
                    self._tickers.popitem(last=False)
            return found

    def station(self) -> StationView | None:
        """The station that this request asks for."""
        wanted = asked_for()
        return None if wanted is None else next(iter(self._hall.look(*wanted).stations), None)

    def window(self) -> bytes:
        """The last minute of the station that this request asks for."""
        wanted = asked_for()
        picture = self._hall.look(*wanted) if wanted is not None else None
        if picture is None or not picture.stations:
            return msgspec.json.encode(
                {"run": self._run, "trace": {"first": 0, "bucket_s": 1.0, "volts": [], "amps": [], "peaks": []}}
            )
        return msgspec.json.encode(
            {"run": self._run, "trace": station_trace(picture.stations[0], self._moment(picture), TRACE_BUCKETS)}
        )

    def spots(self) -> bytes:
        """Where the wall stops."""
        return msgspec.json.encode(spots(self._hall.look()))

    def _hall_body(self, number: int) -> bytes:
        picture = self._hall.look()
        return self._body(number, "hall", hall_tick(picture, self._moment(picture)))

    def _station_body(self, wanted: tuple[str, str], number: int) -> bytes:
        picture = self._hall.look(*wanted)
        moment = self._moment(picture)
        if not picture.stations:
            return self._body(number, "forgotten", hall_tick(picture, moment))
        station = picture.stations[0]
        layout = layout_of(station)
        # Another layout is another page: browsers rebuild it.
        return self._body(number, repr(layout), station_tick(picture, station, layout, moment))

    def _body(self, number: int, mark: str, payload: dict[str, object]) -> bytes:
        return msgspec.json.encode({"run": self._run, "layout": zlib.crc32(mark.encode()), "number": number, **payload})

    def _moment(self, picture: HallPicture) -> Moment:
        return Moment(unix_s=picture.now_unix_s, page_s=self._now_s() - self._began_s)


def asked_for() -> tuple[str, str] | None:
    """Hall and station that a request names; None for the hall as a whole."""
    hall, station = request.args.get("hall", ""), request.args.get("station", "")
    return (hall, station) if station else None


def hall_routes(feed: HallFeed) -> Blueprint:
    """The addresses under /feed."""
    routes = Blueprint("feed", __name__, url_prefix="/feed")
    streams = Streams()

    @routes.get("/stream")
    def stream() -> Response:
        ticker = feed.ticker()
        return _unknown() if ticker is None else streams.answer(ticker)

    @routes.get("/now")
    def now() -> Response:
        ticker = feed.ticker()
        return _unknown() if ticker is None else latest(ticker)

    @routes.get("/window")
    def window() -> Response:
        return json_answer(feed.window())

    @routes.get("/spots")
    def trouble_spots() -> Response:
        return json_answer(feed.spots())

    return routes


def _unknown() -> Response:
    return Response("No such station is known.\n", status=404, mimetype="text/plain")
