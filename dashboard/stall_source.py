"""Where the Stalls page looks: the running watch, or one recorded session."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

import msgspec
from flask import Blueprint, Response, abort, request

from dashboard.session_cache import SessionCache
from dashboard.views.stall_list import stall_list
from dashboard.watch import WatchLike
from monitor.errors import MonitorError
from monitor.layout import Layout
from monitor.runtime import Picture
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

    def snapshot(self, event: Event) -> Snapshot | None:
        """Samples around an event."""
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

    def snapshot(self, event: Event) -> Snapshot | None:
        """From the live store."""
        return self._watch.live.snapshot(event.id)


class RecordedStalls(StallSource):
    """One recorded session, from its own lines.

    Raises:
        MonitorError: It cannot be understood.
    """

    def __init__(self, session_id: str, session: SessionFolder) -> None:
        manifest, closing = session.manifest(), session.closing()
        super().__init__(session_id, session.layout(), first_s=manifest.first_s, began_at=manifest.began_at)
        self._moments = Moments(session)
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

    def snapshot(self, event: Event) -> Snapshot | None:
        """From its kept moments."""
        return self._moments.snapshot(event)


class StallSources:
    """Finds what a page asks for; any number of threads may ask."""

    def __init__(self, watch: WatchLike, sessions: SessionCache) -> None:
        self._watch, self._sessions = watch, sessions
        self._recorded: tuple[tuple[str, bool], RecordedStalls] | None = None
        self._earlier: dict[tuple[datetime | None, int], tuple[Run, ...]] = {}

    def find(self, session_id: str) -> StallSource | None:
        """The running watch for an empty id, else the session of that id; None where it is not there or cannot be understood."""
        if not session_id:
            return LiveStalls(self._watch)
        listed = self._sessions.find(session_id)
        if listed is None:
            return None
        key = (session_id, listed.length_s is not None)
        kept = self._recorded
        if kept is not None and kept[0] == key and listed.length_s is not None:
            return kept[1]
        try:
            made = RecordedStalls(session_id, listed.session)
        except (MonitorError, OSError):
            return None
        self._recorded = (key, made)
        return made

    def names(self) -> list[tuple[str, str]]:
        """Id and name of each session, newest first."""
        return [
            (each.id, f"{each.began_at:%d %B %Y, %H:%M}{', invented' if each.invented else ''}")
            for each in self._sessions.listing()
        ]

    def earlier(self, source: StallSource) -> tuple[Run, ...]:
        """The sessions before, newest first; looked up once for each number of sessions on the sessions."""
        key = (source.began_at, self._size())
        if key not in self._earlier:
            self._earlier = {key: _earlier(self._watch, source)}
        return self._earlier[key]

    def _size(self) -> int:
        folder = self._watch.recordings
        return sum(1 for path in folder.iterdir() if path.is_dir()) if folder is not None and folder.is_dir() else 0


def _earlier(watch: WatchLike, source: StallSource) -> tuple[Run, ...]:
    try:
        return earlier_runs(watch.recordings, source.layout.title, source.began_at)
    except (MonitorError, OSError):
        return ()


def _standing(said: Sequence[Pattern]) -> tuple[Pattern, ...]:
    """What was said last for each district replaces what was said before."""
    kept: list[Pattern] = []
    for pattern in said:
        kept = [other for other in kept if not set(other.districts) & set(pattern.districts)] + [pattern]
    return tuple(kept)


Find = Callable[[str], StallSource | None]


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
        event = next((event for event in source.picture().events if event.id == event_id), None)
        snapshot = None if event is None else source.snapshot(event)
        if snapshot is None or event is None or form not in FORMS:
            abort(404, "There are no samples of that event here any more; the session keeps them.")
        files = moment_files(snapshot, event, source.origin(), FORMS[form])
        if form == "csv":
            ((name, data),) = files.items()
            return _file(name, data, "text/csv; charset=utf-8")
        return _file(f"{file_stem(event)}_{form}.zip", zipped(files), "application/zip")

    return routes


def _asked(sources: StallSources) -> StallSource:
    source = sources.find(request.args.get("session", ""))
    if source is None:
        abort(404, "There is no such session.")
    return source


def _file(name: str, data: bytes, kind: str) -> Response:
    return Response(data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
