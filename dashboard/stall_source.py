"""Where the Stalls page looks: the running watch, or one recorded session, which worker processes read."""

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import msgspec
from flask import Blueprint, Response, abort, request

from dashboard.session_cache import KEPT_S, OPEN_LIMIT, PATIENCE, Listed, SessionCache
from dashboard.views.stall_list import stall_list
from dashboard.watch import WatchLike
from dashboard.worker_pool import BusyError, T, Taken, WorkerPool, asker_of
from monitor.errors import MonitorError
from monitor.layout import Layout
from monitor.runtime.picture import Picture
from monitor.sessions import SessionFolder
from monitor.sessions.comtrade import Form, Origin, file_stem, moment_files, zipped
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.runs import Run, earlier_runs, faults_of, last_words
from monitor.sessions.snapshot_log import Moments
from monitor.values import Action, BoardSeen, Event, Pattern, SlowFigure, Snapshot

LIVE_FULL = 200
"""The live store keeps so many events: when the list is full, what came before its oldest is not known."""


class StallSource:
    """What the Stalls page shows.

    Args:
        session_id: Of the recorded session; empty for the running watch.
        layout: The layout.
        first_s: Where the stream begins.
        began_at: Wall clock at second 0 of the stream; None where it is not known.
    """

    def __init__(self, session_id: str, layout: Layout, *, first_s: float = 0.0, began_at: datetime | None) -> None:
        self.session_id, self.layout, self.first_s, self.began_at = session_id, layout, first_s, began_at

    @property
    def is_live(self) -> bool:
        """Whether it goes on."""
        return not self.session_id

    def picture(self) -> Picture:
        """Events, patterns, marks and slow figures as they stand."""
        raise NotImplementedError

    def origin(self) -> Origin:
        """For files of samples."""
        began_at = self.began_at or datetime.now(UTC) - timedelta(seconds=self.picture().now_s)
        return Origin(station=self.layout.title, mains_hertz=self.layout.mains.hertz, began_at=began_at)

    def clock(self, at_s: float) -> datetime | None:
        """Time of day of a moment, in the time of this computer."""
        return None if self.began_at is None else (self.began_at + timedelta(seconds=at_s)).astimezone()

    def run(self, picture: Picture) -> Run:
        """This stretch of watching, to be compared."""
        is_full = self.is_live and len(picture.events) >= LIVE_FULL
        first_s = min(event.start_s for event in picture.events) if is_full else self.first_s
        return Run(
            began_at=self.began_at,
            first_s=first_s,
            ended_s=picture.now_s,
            faults=faults_of(picture.events),
            marks=picture.marks,
            figures=picture.slow_figures,
        )


class LiveStalls(StallSource):
    """The running watch or replay."""

    def __init__(self, watch: WatchLike) -> None:
        super().__init__("", watch.layout, began_at=watch.live.began_at)
        self._watch = watch

    def picture(self) -> Picture:
        """As it stands now."""
        return self._watch.live.picture()


class RecordedStalls(StallSource):
    """One recorded session, from its own lines; made by a worker.

    Attributes:
        moments: Where its samples lie.
        opened: Samples of the event that was opened last, and its number.

    Raises:
        MonitorError: It cannot be understood.
    """

    def __init__(self, session_id: str, session: SessionFolder) -> None:
        manifest, closing = session.manifest(), session.closing()
        super().__init__(session_id, session.layout(), first_s=manifest.first_s, began_at=manifest.began_at)
        self.moments = Moments(session)
        self.opened: tuple[int, Snapshot | None] | None = None
        events = sorted(read_notices(session, "events", Event), key=lambda event: event.start_s, reverse=True)
        marks = [action for action in read_notices(session, "actions", Action) if action.kind == "mark"]
        last_s = max([manifest.first_s, *(event.end_s or event.start_s for event in events)])
        patterns = {pattern.districts: pattern for pattern in read_notices(session, "patterns", Pattern)}
        self._picture = Picture(
            now_s=closing.ended_s if closing is not None else last_s,
            districts=(),
            events=tuple(events),
            marks=tuple(reversed(marks)),
            patterns=_standing(list(patterns.values())),
            slow_figures=last_words(read_notices(session, "slow_figures", SlowFigure)),
            boards={seen.board or seen.identity.name: seen for seen in read_notices(session, "boards", BoardSeen)},
            healths={},
        )

    def picture(self) -> Picture:
        """As it stood at its end."""
        return self._picture


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    source: RecordedStalls
    is_over: bool
    until_s: float


class StallSources:
    """Finds what a page asks for; any number of threads may ask."""

    def __init__(self, watch: WatchLike, sessions: SessionCache, pool: WorkerPool) -> None:
        self._watch, self._sessions, self._pool = watch, sessions, pool
        self._read: dict[str, _Read] = {}
        self._reading = threading.Lock()
        self._earlier: dict[tuple[datetime | None, int], tuple[Run, ...]] = {}

    def find(self, session_id: str) -> StallSource | None:
        """The running watch for an empty id, else the session of that id; None where it is not there or cannot be understood.

        Raises:
            BusyError: No worker has time for it.
        """
        if not session_id:
            return LiveStalls(self._watch)
        listed = self._sessions.find(session_id)
        if listed is None:
            return None
        is_over = listed.length_s is not None
        read = self._read.get(session_id)
        if read is not None and read.is_over == is_over and (is_over or time.monotonic() < read.until_s):
            return read.source
        if read is None:
            return self._read_now(listed)
        # A page asks several things at once: while one of them has the session read again, what was read before serves the others.
        if not self._reading.acquire(blocking=False):
            return read.source
        try:
            return self._read_now(listed)
        finally:
            self._reading.release()

    def _read_now(self, listed: Listed) -> StallSource | None:
        began_s = time.monotonic()
        try:
            source = self.run(RecordedStalls, listed.id, listed.session)
        except BusyError:
            raise
        except (MonitorError, OSError):
            return None
        now_s = time.monotonic()
        until_s = now_s + max(KEPT_S, PATIENCE * (now_s - began_s))
        read = _Read(source=source, is_over=listed.length_s is not None, until_s=until_s)
        kept = [(name, each) for name, each in list(self._read.items()) if name != listed.id]
        self._read = {**dict(kept[1 - OPEN_LIMIT :]), listed.id: read}
        return source

    def snapshot(self, source: StallSource, event: Event) -> Snapshot | None:
        """Samples around an event.

        Raises:
            BusyError: No worker has time for it.
        """
        if not isinstance(source, RecordedStalls):
            return self._watch.live.snapshot(event.id)
        opened = source.opened
        if opened is None or opened[0] != event.id:
            opened = event.id, self.run(Moments.snapshot, source.moments, event)
            source.opened = opened
        return opened[1]

    def names(self) -> list[tuple[str, str]]:
        """Id and name of each session, newest first."""
        return [
            (each.id, f"{each.began_at:%d %B %Y, %H:%M}{', invented' if each.invented else ''}")
            for each in self._sessions.listing()
        ]

    def earlier(self, source: StallSource) -> tuple[Run, ...]:
        """The sessions before, newest first; looked up once for each number of sessions.

        Raises:
            BusyError: No worker has time for it.
        """
        key = (source.began_at, self._size())
        if key not in self._earlier:
            self._earlier = {key: self._earlier_now(source)}
        return self._earlier[key]

    def _earlier_now(self, source: StallSource) -> tuple[Run, ...]:
        folder = self._watch.recordings
        if folder is None:
            return ()
        try:
            return self.run(earlier_runs, folder, source.layout.title, source.began_at)
        except BusyError:
            raise
        except (MonitorError, OSError):
            return ()

    def run(self, job: Callable[[*Taken], T], *args: *Taken) -> T:
        """What a worker makes for this request.

        Raises:
            BusyError: No worker has time for it.
        """
        return self._pool.run(asker_of(request), job, *args)

    def exported(self, source: StallSource, event_id: int, form: Form) -> tuple[str, bytes] | None:
        """Name and bytes of the file of one event's samples; None where there are none.

        Raises:
            BusyError: No worker has time for it.
        """
        event = next((event for event in source.picture().events if event.id == event_id), None)
        snapshot = None if event is None else self.snapshot(source, event)
        if event is None or snapshot is None:
            return None
        return self.run(_exported, snapshot, event, source.origin(), form)

    def _size(self) -> int:
        folder = self._watch.recordings
        return sum(1 for path in folder.iterdir() if path.is_dir()) if folder is not None and folder.is_dir() else 0


def _exported(snapshot: Snapshot, event: Event, origin: Origin, form: Form) -> tuple[str, bytes]:
    files = moment_files(snapshot, event, origin, form)
    return next(iter(files.items())) if form == "csv" else (f"{file_stem(event)}_{form}.zip", zipped(files))


def _standing(patterns: Sequence[Pattern]) -> tuple[Pattern, ...]:
    """The latest for each district replaces those before."""
    kept: list[Pattern] = []
    for pattern in patterns:
        kept = [other for other in kept if not set(other.districts) & set(pattern.districts)] + [pattern]
    return tuple(kept)


FORMS: dict[str, Form] = {"csv": "csv", "comtrade": "comtrade", "comtrade-ascii": "comtrade-ascii"}


def stall_routes(sources: StallSources) -> Blueprint:
    """/stalls/list, and /stalls/event-ID/csv, /comtrade and /comtrade-ascii; ``session`` names a recorded one."""
    routes = Blueprint("stall_routes", __name__)

    @routes.get("/stalls/list")
    def listed() -> Response:
        source = _asked(sources)
        picture = source.picture()
        return Response(
            msgspec.json.encode(stall_list(picture, source.clock, is_live=source.is_live)), mimetype="application/json"
        )

    @routes.get("/stalls/event-<int:event_id>/<form>")
    def give(event_id: int, form: str) -> Response:
        source = _asked(sources)
        try:
            file = sources.exported(source, event_id, FORMS[form]) if form in FORMS else None
        except BusyError as error:
            abort(503, str(error))
        if file is None:
            abort(404, "There are no samples of that event here any more; the session keeps them.")
        kind = "text/csv; charset=utf-8" if form == "csv" else "application/zip"
        return Response(file[1], content_type=kind, headers={"Content-Disposition": f'attachment; filename="{file[0]}"'})

    return routes


def _asked(sources: StallSources) -> StallSource:
    try:
        source = sources.find(request.args.get("session", ""))
    except BusyError as error:
        abort(503, str(error))
    if source is None:
        abort(404, "There is no such session.")
    return source
