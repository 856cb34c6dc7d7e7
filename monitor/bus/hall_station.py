"""One station as the hall knows it: takes its messages, gives a view of it."""

import math
from collections.abc import Iterator
from dataclasses import replace

import msgspec

from monitor.bus.hall_notices import HallDistrictFigures, HallFigures, HallNotices
from monitor.bus.hall_values import (
    SILENT_AFTER_S,
    STALE_AFTER_S,
    TROUBLES,
    DistrictView,
    EventView,
    State,
    StationView,
    SupplyView,
    district_trouble,
    judged,
)
from monitor.bus.payloads import Body, EventNote, Outline, Presence, Readings, WarningNote
from monitor.standing import LayoutStanding, Level, aged
from monitor.words.figures import span
from monitor.words.sentences import say

BUCKET_S = 5.0
BUCKETS = 12
"""One minute."""


class StationClock:
    """Keeps the smallest difference of the last minute: that message had the least delay (the idea of the minimum filter of RFC 5905).

    Messages that waited on a disk only make larger differences, so they do no harm.
    """

    def __init__(self) -> None:
        self._smallest: dict[int, float] = {}

    def take(self, made_unix_s: float, now_unix_s: float) -> None:
        """A message came that the station says it made then."""
        bucket = math.floor(now_unix_s / BUCKET_S)
        self._smallest[bucket] = min(self._smallest.get(bucket, math.inf), now_unix_s - made_unix_s)
        while len(self._smallest) > BUCKETS or bucket - min(self._smallest) >= BUCKETS:
            del self._smallest[min(self._smallest)]

    @property
    def behind_s(self) -> float | None:
        """What to add to the station's times to have ours; None before anything came."""
        return min(self._smallest.values(), default=None)


class HallStation:
    """What is known of one station.

    Args:
        hall: The hall's name.
        name: Its name.
        since_unix_s: When it was first seen, by our clock.
        is_board: It is a board that sends lines.
    """

    def __init__(self, hall: str, name: str, *, since_unix_s: float, is_board: bool = False) -> None:
        self._hall, self._name, self.is_board = hall, name, is_board
        self._boot: str | None = None
        self._boot_before: str | None = None
        self._made_unix_s = 0.0
        self._outline: Outline | None = None
        self._presence: Presence | None = None
        self._clock = StationClock()
        self._figures = HallFigures()
        self._notices = HallNotices()
        self._since_unix_s = since_unix_s
        self._received_unix_s: float | None = None
        self._is_lost = self._boot_is_sure = self._is_double = False

    def take(self, body: Body, now_unix_s: float, *, retained: bool = False) -> None:
        """Take a message.

        Args:
            body: The message.
            now_unix_s: When it came, by our clock.
            retained: The broker had kept it, for an unknown time.
        """
        if isinstance(body, Presence) and body.state == "lost":
            self._is_lost |= self._boot in (None, body.boot)  # an older start's will may come late
            self._made_unix_s = max(self._made_unix_s, body.made_unix_s if self._boot is None else 0.0)
            return
        current = self._belongs(body)
        if not retained:
            self._received_unix_s = now_unix_s
            if current:
                self._is_lost = False
                self._clock.take(body.made_unix_s, now_unix_s)
        if isinstance(body, WarningNote):
            self._notices.take_warning(body, current=current)
        elif isinstance(body, EventNote):
            self._notices.take_event(body)
        elif current:
            self._take_current(body)

    def quiet_since_unix_s(self) -> float:
        """When it was heard last; where it was not since we listen, when its last message was made."""
        return self._made_unix_s if self._received_unix_s is None else self._received_unix_s

    def view(self, now_unix_s: float, *, with_recent: bool = False) -> StationView:
        """How it stands now; the last two minutes only where they are asked for."""
        behind_s = self._clock.behind_s
        now_there_s = now_unix_s - (behind_s or 0.0)  # our now on the station's clock
        heard_s_ago = None if self._received_unix_s is None else max(0.0, now_unix_s - self._received_unix_s)
        state = self._state(now_unix_s)
        warnings = () if state == "gone" else tuple(_as_of(note, now_there_s) for note in self._notices.standing())
        standing = None if state == "gone" else self._standing(now_there_s)
        districts = list(self._districts(now_there_s, standing, gone=state == "gone"))
        if with_recent:
            districts = [replace(district, recent=self._recent(district.name, now_there_s)) for district in districts]
        supplies = tuple(sorted(self._supplies(now_there_s), key=lambda supply: -(supply.share or 0.0)))
        newest = self._figures.newest_unix_s
        presence = self._presence
        made = StationView(
            hall=self._hall,
            name=self._name,
            title=self._outline.title if self._outline else self._name,
            is_board=self.is_board,
            state=state,
            trouble="well",
            reasons=(),
            heard_s_ago=heard_s_ago,
            age_s=None if newest is None else max(0.0, now_there_s - newest),
            clock_ahead_s=None if behind_s is None or self.is_board else -behind_s,
            warnings=warnings,
            past_warnings=self._notices.past(),
            events=tuple(
                EventView(note=note, age_s=max(0.0, now_there_s - note.began_unix_s - note.start_s))
                for note in self._notices.events()
            ),
            districts=tuple(sorted(districts, key=lambda district: TROUBLES.index(district.trouble))),
            supplies=supplies,
            waiting=presence.waiting if presence else 0,
            is_double=self._is_double,
            thinned=presence.thinned if presence else 0,
            lost=presence.lost if presence else 0,
            standing=standing,
        )
        return judged(made)

    def _belongs(self, body: Body) -> bool:
        """True where a message is of the station's current start.

        Presence and outline never wait on a disk: the last that came tells which start is the current one. Of a station that sends
        neither, the start is current whose messages were made last.
        """
        direct = isinstance(body, Presence | Outline)
        later = body.made_unix_s > self._made_unix_s and not self._boot_is_sure
        if body.boot != self._boot and (self._boot is None or direct or later):
            if self._boot is not None:
                self._is_double |= body.boot == self._boot_before
                self._boot_before = self._boot
                self._notices.begin()
                self._figures, self._clock, self._presence = HallFigures(), StationClock(), None
            self._boot, self._made_unix_s = body.boot, 0.0
        self._boot_is_sure |= direct
        if body.boot != self._boot:
            return False
        self._made_unix_s = max(self._made_unix_s, body.made_unix_s)
        return True

    def _take_current(self, body: Body) -> None:
        if isinstance(body, Readings):
            self._figures.take(body)
        elif isinstance(body, Outline):
            self._outline = body
        elif isinstance(body, Presence) and (self._presence is None or body.seq > self._presence.seq):
            self._presence = body
            self._notices.take_presence(body)

    def _state(self, now_unix_s: float) -> State:
        if self._presence is not None and self._presence.state == "gone":
            return "gone"
        if self._is_lost:
            return "lost"
        return "silent" if now_unix_s - (self._received_unix_s or self._since_unix_s) > SILENT_AFTER_S else "here"

    def _standing(self, now_there_s: float) -> LayoutStanding | None:
        """What the station's presence said of its supplies and districts, at this moment of its stream."""
        presence = self._presence
        if presence is None or presence.judged is None or presence.now_s is None:
            return None
        began_unix_s = presence.made_unix_s - presence.now_s
        ends_s = {name: known.end_unix_s - began_unix_s for name, known in self._figures.districts.items() if known.recent}
        return aged(presence.judged, now_there_s - began_unix_s, ends_s, STALE_AFTER_S)

    def _districts(self, now_there_s: float, standing: LayoutStanding | None, *, gone: bool) -> Iterator[DistrictView]:
        levels = {row.name: row.level for row in standing.districts} if standing is not None else {}
        outlined = {row.name: row for row in self._outline.districts} if self._outline else {}
        nothing = HallDistrictFigures()
        for name in [*outlined, *(name for name in self._figures.districts if name not in outlined)]:
            row, known = outlined.get(name), self._figures.districts.get(name, nothing)
            age_s = max(0.0, now_there_s - known.end_unix_s) if known.recent else None
            yield DistrictView(
                name=name,
                supply=row.supply if row else "",
                output=row.output if row else "",
                use=row.use if row else "",
                limit_amps=row.limit_amps if row else None,
                age_s=age_s,
                volts=known.volts,
                amps=known.amps,
                amps_highest=known.amps_highest,
                watts=known.watts,
                doubtful=known.doubtful,
                clipped=known.clipped,
                trouble="gone" if gone else district_trouble(levels.get(name, Level.WELL), age_s, doubtful=known.doubtful),
            )

    def _recent(self, name: str, now_there_s: float) -> tuple[tuple[float, float | None, float | None], ...]:
        known = self._figures.districts.get(name)
        return tuple((now_there_s - end, volts, amps) for end, volts, amps in known.recent) if known else ()

    def _supplies(self, now_there_s: float) -> Iterator[SupplyView]:
        outlined = {supply.name: supply for supply in self._outline.supplies} if self._outline else {}
        for name in dict.fromkeys([*outlined, *self._figures.supplies]):
            plate = outlined.get(name)
            end_unix_s, va, share = self._figures.supplies.get(name, (None, None, None))
            yield SupplyView(
                name=name,
                plate_va=plate.plate_va if plate else None,
                max_volts=plate.max_volts if plate else None,
                age_s=None if end_unix_s is None else max(0.0, now_there_s - end_unix_s),
                va=va,
                share=share,
            )


def _as_of(note: WarningNote, now_there_s: float) -> WarningNote:
    """The note with the time that is left now in place of the time that was left when it rose."""
    if note.trip_in_s is None or not note.time_words:
        return note
    left_s = note.began_unix_s + note.start_s + note.trip_in_s - now_there_s
    words = say("left-raised", span=span(left_s)) if left_s >= 1.0 else say("left-now")
    return msgspec.structs.replace(note, message=note.message.replace(note.time_words, words, 1), time_words=words)
