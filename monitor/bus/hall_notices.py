"""Warnings and events of one station: what stands, what is over, each once, whatever comes late, twice or out of order."""

from collections import OrderedDict
from typing import TypeVar

from monitor.bus.notes import STANDING_SHOWN, worst_first
from monitor.bus.payloads import EventNote, Presence, WarningNote

KEPT = 50
"""Past warnings, and events, of one station."""
STANDING_LIMIT = 500
_Note = TypeVar("_Note", WarningNote, EventNote)


class HallNotices:
    """Takes notes of any boot; those of the current one may stand, all others are past."""

    def __init__(self) -> None:
        self._standing: dict[int, WarningNote] = {}
        self._past: OrderedDict[tuple[str, int], WarningNote] = OrderedDict()
        self._events: OrderedDict[tuple[str, int], EventNote] = OrderedDict()
        self._presence: Presence | None = None

    def begin(self) -> None:
        """The station started anew: what stood is over."""
        for note in self._standing.values():
            _put(self._past, note)
        self._standing = {}
        self._presence = None

    def take_warning(self, note: WarningNote, *, current: bool) -> None:
        """One state of a warning."""
        past = self._past.get((note.boot, note.id))
        known = (self._standing.get(note.id) if current else None) or past
        if known is not None and known.seq >= note.seq:
            return
        if not current or note.end_s is not None or self._is_over(note):
            if current:
                self._standing.pop(note.id, None)
            _put(self._past, note)
        elif len(self._standing) < STANDING_LIMIT or note.id in self._standing:
            self._past.pop((note.boot, note.id), None)
            self._standing[note.id] = note

    def take_event(self, note: EventNote) -> None:
        """One state of an event."""
        _put(self._events, note)

    def take_presence(self, presence: Presence) -> None:
        """What stands by the station's own word; of the current boot."""
        if self._presence is not None and self._presence.seq >= presence.seq:
            return
        self._presence = presence
        for note in presence.standing:
            known = self._standing.get(note.id) or self._past.get((note.boot, note.id))
            if (known is None or known.seq < note.seq) and len(self._standing) < STANDING_LIMIT:
                self._standing[note.id] = note
        for note in [note for note in self._standing.values() if self._is_over(note)]:
            _put(self._past, self._standing.pop(note.id))

    def standing(self) -> tuple[WarningNote, ...]:
        """Those that stand, worst first."""
        return worst_first(self._standing.values(), most=STANDING_LIMIT)

    def past(self) -> tuple[WarningNote, ...]:
        """Those that are over, newest first."""
        return tuple(sorted(self._past.values(), key=lambda note: note.began_unix_s + note.start_s, reverse=True))

    def events(self) -> tuple[EventNote, ...]:
        """Events, newest first."""
        return tuple(sorted(self._events.values(), key=lambda note: note.began_unix_s + note.start_s, reverse=True))

    def _is_over(self, note: WarningNote) -> bool:
        """True where the station's presence, made later, no longer names it although it names all."""
        presence = self._presence
        if presence is None or note.seq > presence.seq or len(presence.standing) >= STANDING_SHOWN:
            return False
        return all(standing.id != note.id for standing in presence.standing)


def _put(kept: OrderedDict[tuple[str, int], _Note], note: _Note) -> None:
    key = (note.boot, note.id)
    if key in kept and kept[key].seq >= note.seq:
        return
    kept[key] = note
    if len(kept) > KEPT:
        kept.popitem(last=False)
