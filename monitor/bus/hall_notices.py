"""What the hall knows of one station: the latest figures, and its warnings and events, each once, whatever comes late or twice."""

from collections import OrderedDict, deque
from dataclasses import dataclass, field
from typing import TypeVar

from monitor.bus.notes import STANDING_SHOWN, worst_first
from monitor.bus.payloads import DISTRICTS_LIMIT, GRID_S, SUPPLIES_LIMIT, EventNote, Presence, Readings, WarningNote

RECENT_ROWS = 240


@dataclass(slots=True, kw_only=True)
class HallDistrictFigures:
    """The latest row of one district.

    Attributes:
        end_unix_s: Its end, by the station's clock.
        volts: RMS volts; None where unknown, like all below.
        amps: RMS amps.
        amps_highest: Highest one-cycle amps.
        doubtful: Its sensor is known to lie.
        clipped: Volts or amps are lower bounds.
        recent: (end, volts, amps) of the last rows.
    """

    end_unix_s: float = 0.0
    volts: float | None = None
    amps: float | None = None
    amps_highest: float | None = None
    watts: float | None = None
    doubtful: bool = False
    clipped: bool = False
    recent: deque[tuple[float, float | None, float | None]] = field(default_factory=lambda: deque(maxlen=RECENT_ROWS))


class HallFigures:
    """Takes readings of the current boot; rows that are older than what is known are passed over.

    Attributes:
        supplies: End of the latest row of each by the station's clock, its volt-amperes, and its share of the limit that binds.
        newest_unix_s: End of the newest row by the station's clock; None where none came.
    """

    def __init__(self) -> None:
        self.districts: dict[str, HallDistrictFigures] = {}
        self.supplies: dict[str, tuple[float, float | None, float | None]] = {}
        self.newest_unix_s: float | None = None

    def take(self, body: Readings) -> None:
        """Take all rows of a message."""
        ends = [body.began_unix_s + (body.first + k + 1) * GRID_S for k in range(body.rows)]
        self.newest_unix_s = max(ends[-1], self.newest_unix_s or 0.0)
        doubtful, clipped = set(body.doubtful), set(body.clipped)
        columns = zip(body.districts, body.volts, body.amps, body.amps_highest, body.watts, strict=True)
        for name, volts, amps, highest, watts in columns:
            known = self.districts.get(name)
            if known is None:
                if len(self.districts) >= DISTRICTS_LIMIT:
                    continue
                known = self.districts[name] = HallDistrictFigures()
            known.recent.extend(row for row in zip(ends, volts, amps, strict=True) if row[0] > known.end_unix_s)
            if ends[-1] > known.end_unix_s:
                known.end_unix_s, known.doubtful, known.clipped = ends[-1], name in doubtful, name in clipped
                known.volts, known.amps, known.amps_highest, known.watts = volts[-1], amps[-1], highest[-1], watts[-1]
        for name, va, share in zip(body.supplies, body.va, body.share, strict=True):
            if ends[-1] > self.supplies[name][0] if name in self.supplies else len(self.supplies) < SUPPLIES_LIMIT:
                self.supplies[name] = ends[-1], va[-1], share[-1]


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
        """The station restarted: what stood is over."""
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
