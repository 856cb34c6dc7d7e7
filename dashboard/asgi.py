"""Between the page's connections and its pages: requests in full to a few threads, answers and event streams back without any.

A viewer that sends or reads slowly costs a coroutine, never a thread: a request reaches a thread once all of it is here, and an answer
leaves the thread whole, for the loop to send. Event streams are made in the loop, one payload a tick for everybody.
"""

import asyncio
import contextlib
import io
import tempfile
import time
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import IO, Any, Literal, cast

from a2wsgi.wsgi import build_environ

from dashboard.connections import HERE
from dashboard.feed import EventStream, Tick, Ticker
from dashboard.worker_pool import JOBS_LIMIT, VISITORS_LIMIT

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
WsgiApp = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]

THREADS_HERE, THREADS_OF_VISITORS = JOBS_LIMIT + 8, VISITORS_LIMIT + 4
"""Those that wait for long work elsewhere, and some for pages, figures and what operators do, all of them short. What this computer
asks, and the figures of all, never queue behind visitors, and share the interpreter with few of them."""
BODY_LIMIT_BYTES = 1 << 17
"""Twice what Set up sends at most. A megabyte of empty lists became 25 MB of objects each, and ten visitors at once 250 MB."""
IN_MEMORY_BYTES = 1 << 18
PIECE_BYTES = 1 << 16
PIECE_WITHIN_S = 15.0
"""A viewer that takes no further piece within this is given up."""
STREAM_LASTS_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _HttpAnswer:
    status: int
    headers: list[tuple[bytes, bytes]]
    body: IO[bytes] | EventStream


class AsgiApp:
    """Serves a WSGI app, which the pages are.

    Args:
        wsgi: The app. Where it answers with an :class:`~dashboard.feed.EventStream`, that is sent from here.
    """

    def __init__(self, wsgi: WsgiApp) -> None:
        self._wsgi = wsgi
        self._apps = 1
        self._threads = ThreadPoolExecutor(THREADS_HERE, thread_name_prefix="pages")
        self._visitors = ThreadPoolExecutor(THREADS_OF_VISITORS, thread_name_prefix="pages of visitors")

    def serve(self, wsgi: WsgiApp) -> None:
        """Serve another app from the next request on; event streams of the one before end, and browsers ask again."""
        self._wsgi = wsgi
        self._apps += 1

    def close(self) -> None:
        """Let the threads end."""
        for threads in (self._threads, self._visitors):
            threads.shutdown(wait=False, cancel_futures=True)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        body = await _taken(receive)
        if body is None:
            await _refuse(send, 413, b"This is larger than anything that the page sends.\n")
            return
        threads = self._threads if scope["client"][0] in HERE else self._visitors
        answer = await asyncio.get_running_loop().run_in_executor(threads, self._run, scope, body)
        # A viewer that takes nothing any more is left; the connection ends with an answer that was not finished.
        with contextlib.suppress(TimeoutError):
            await send({"type": "http.response.start", "status": answer.status, "headers": answer.headers})
            if isinstance(answer.body, EventStream):
                await self._stream(answer.body, receive, send)
                return
            with answer.body as file:
                await _send_file(file, send)

    def _run(self, scope: Scope, body: bytes) -> _HttpAnswer:
        """In a thread: the whole answer, beyond a quarter of a megabyte on the disk."""
        environ = cast("dict[str, Any]", build_environ(cast("Any", scope), cast("Any", io.BytesIO(body))))
        begun: list[tuple[str, list[tuple[str, str]]]] = []

        def start_response(status: str, headers: list[tuple[str, str]], _error: object = None) -> Callable[[bytes], object]:
            begun[:] = [(status, headers)]
            return lambda _data: None

        pieces = self._wsgi(environ, start_response)
        content = pieces if isinstance(pieces, EventStream) else _spooled(pieces)
        ((status, headers),) = begun
        names = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in headers]
        return _HttpAnswer(status=int(status.split()[0]), headers=names, body=content)

    async def _stream(self, stream: EventStream, receive: Receive, send: Send) -> None:
        ends_s, seen, app = time.monotonic() + STREAM_LASTS_S, 0, self._apps
        # All of the request is here: what comes now is that the viewer left. Sending to one that left raises nothing.
        left = asyncio.ensure_future(receive())
        try:
            await _send_piece(send, b"retry: 500\n\n")
            while time.monotonic() < ends_s and not left.done() and app == self._apps:
                tick = await self._current(stream.ticker)
                if tick.number != seen:
                    seen = tick.number
                    await _send_piece(send, b"data: " + tick.body + b"\n\n")
                await asyncio.sleep(max(0.002, stream.ticker.due_in_s()))
            await send({"type": "http.response.body", "body": b""})
        finally:
            left.cancel()
            stream.close()

    async def _current(self, ticker: Ticker) -> Tick:
        if ticker.due_in_s() > 0:
            return ticker.current()
        return await asyncio.get_running_loop().run_in_executor(self._threads, ticker.current)


def _spooled(pieces: Iterable[bytes]) -> IO[bytes]:
    """All of an answer, to be read from its beginning."""
    spool = tempfile.SpooledTemporaryFile(IN_MEMORY_BYTES)  # noqa: SIM115 - the loop reads and closes it
    try:
        spool.writelines(pieces)
    finally:
        close = getattr(pieces, "close", None)
        if close is not None:
            close()
    spool.seek(0)
    return spool


async def _taken(receive: Receive) -> bytes | None:
    """All that is sent; None where it is too much."""
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > BODY_LIMIT_BYTES:
            return None
        if message["type"] != "http.request" or not message.get("more_body"):
            return bytes(body)


async def _refuse(send: Send, status: Literal[413], sentence: bytes) -> None:
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-type", b"text/plain")]})
    await send({"type": "http.response.body", "body": sentence})


async def _send_file(file: IO[bytes], send: Send) -> None:
    while piece := file.read(PIECE_BYTES):
        await _send_piece(send, piece)
    await send({"type": "http.response.body", "body": b""})


async def _send_piece(send: Send, piece: bytes) -> None:
    """Raises TimeoutError where the viewer takes nothing any more: its connection is ended then."""
    await asyncio.wait_for(send({"type": "http.response.body", "body": piece, "more_body": True}), PIECE_WITHIN_S)
