"""Warnings as managed alarms, in the terms of ISA-18.2 / IEC 62682.

Priorities: LOW asks to know and act when convenient, MEDIUM to act within minutes, HIGH to act at once.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from monitor.values import Action, Priority, Scope
from monitor.values import Warning as RaisedWarning

CHATTER_RISES, CHATTER_WITHIN_S, CHATTER_HOLD_S = 3, 60.0, 20.0
"""Three changes within a minute is chattering: the alarm then stands until it has been quiet for a while."""
FLOOD_ABOVE, FLOOD_BELOW, FLOOD_WITHIN_S = 10, 5, 600.0
"""A flood starts above ten alarms in ten minutes and ends below five."""
SHELF_LIMIT_S = 3600.0
RETURNED_KEPT = 200
Key = tuple[str, Scope]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What a warning says when it rises; fields as those of a warning."""

    message: str
    advice: str
    trip_in_s: float | None = None
    trip_earliest_s: float | None = None
    trip_latest_s: float | None = None
    limit: str = ""
    share: float | None = None
    time_words: str = ""


@dataclass(slots=True)
class _WarningState:
    """One rule at one place."""

    standing: RaisedWarning | None = None
    rises_s: deque[float] = field(default_factory=lambda: deque(maxlen=CHATTER_RISES))
    quiet_since_s: float | None = None


class Alarms:
    """All alarms of a stream. Rules say what holds; this says what is announced.

    Args:
        ids: Where ids come from.
    """

    def __init__(self, ids: Iterator[int]) -> None:
        self._ids = ids
        self._seats: dict[Key, _WarningState] = {}
        self._shelved: dict[tuple[str, Scope, Priority], float] = {}
        self._returned: dict[int, RaisedWarning] = {}
        self._rises_s: deque[float] = deque(maxlen=1000)
        self._flooded = False
        self._flood_key: Key | None = None
        self._flood_group = ""
        self._flood_ends_s = 0.0
        self._group_standing: dict[str, set[int]] = {}

    def standing(self, rule: str, scope: Scope) -> RaisedWarning | None:
        """The occurrence that stands there, if any."""
        seat = self._seats.get((rule, scope))
        return seat.standing if seat else None

    def raise_(self, at_s: float, key: Key, priority: Priority, said: Said, group: str) -> list[RaisedWarning]:
        """A rule holds; nothing new while it stands in the same priority.

        Args:
            at_s: When.
            key: The rule and the place.
            priority: How soon to act; another than the standing one ends that and begins a new occurrence.
            said: What it says.
            group: The supply it belongs to, for first-out.
        """
        out = self._end_flood(at_s)
        seat = self._seats.setdefault(key, _WarningState())
        seat.quiet_since_s = None
        if seat.standing is not None and seat.standing.priority == priority:
            return out
        out += self._end(seat, at_s, group) if seat.standing is not None else []
        if priority is Priority.LOW and self._is_flooded(at_s) and key[0] != "flood":
            return out
        seat.rises_s.append(at_s)
        self._rises_s.append(at_s)
        # Then fewer than it takes will have risen lately; a flood is of more.
        self._flood_ends_s = self._rises_s[-min(FLOOD_BELOW, len(self._rises_s))] + FLOOD_WITHIN_S
        group_standing = self._group_standing.setdefault(group, set())
        warning = replace(
            _occurrence(next(self._ids), at_s, key, priority, said),
            shelved_until_s=self._shelf(key, priority, at_s),
            first_out=not group_standing,
            comes_and_goes=self._chatters(seat),
        )
        group_standing.add(warning.id)
        seat.standing = warning
        return [*out, warning, *self._flood(at_s, warning)]

    def clear(self, at_s: float, key: Key, group: str, *, at_once: bool = False) -> list[RaisedWarning]:
        """A rule no longer holds; what chatters stands on until it has been quiet for a while.

        Args:
            at_s: When.
            key: The rule and the place.
            group: The supply it belongs to.
            at_once: The state of things has changed for good (protection open, load gone): no waiting, chatter forgotten.
        """
        seat = self._seats.get(key)
        if seat is None or seat.standing is None:
            return []
        if at_once:
            seat.rises_s.clear()
        elif self._chatters(seat):
            if seat.quiet_since_s is None:
                seat.quiet_since_s = at_s
            if at_s - seat.quiet_since_s < CHATTER_HOLD_S:
                return []
        return self._end(seat, at_s, group)

    def operate(self, action: Action) -> list[RaisedWarning]:
        """What an operator did."""
        if action.kind == "acknowledge" and action.warning_id in self._returned:
            return [replace(self._returned.pop(action.warning_id), state="normal")]
        found = [
            (key, seat, seat.standing)
            for key, seat in self._seats.items()
            if seat.standing is not None and seat.standing.id == action.warning_id
        ]
        out = []
        for key, seat, warning in found:
            if action.kind == "acknowledge":
                seat.standing = replace(warning, state="acknowledged")
            elif action.kind == "shelve" and action.until_s is not None:
                until_s = min(action.until_s, action.at_s + SHELF_LIMIT_S)
                self._shelved[(*key, warning.priority)] = until_s
                seat.standing = replace(warning, shelved_until_s=until_s)
            elif action.kind == "unshelve":
                self._shelved.pop((*key, warning.priority), None)
                seat.standing = replace(warning, shelved_until_s=None)
            if seat.standing is not None and seat.standing != warning:
                out.append(seat.standing)
        return out

    def tick(self, now_s: float) -> list[RaisedWarning]:
        """Shelving and floods that end."""
        out = self._end_flood(now_s)
        for shelf in [shelf for shelf, until_s in self._shelved.items() if until_s <= now_s]:
            del self._shelved[shelf]
            seat = self._seats[shelf[:2]]
            if seat.standing is not None and seat.standing.priority == shelf[2]:
                seat.standing = replace(seat.standing, shelved_until_s=None)
                out.append(seat.standing)
        return out

    def _end(self, seat: _WarningState, at_s: float, group: str) -> list[RaisedWarning]:
        assert seat.standing is not None  # noqa: S101 - callers looked
        returned = seat.standing.state == "unacknowledged"
        ended = replace(seat.standing, end_s=max(at_s, seat.standing.start_s), state="returned" if returned else "normal")
        if returned:
            self._returned[ended.id] = ended
            if len(self._returned) > RETURNED_KEPT:
                self._returned.pop(next(iter(self._returned)))
        self._group_standing[group].discard(ended.id)
        seat.standing, seat.quiet_since_s = None, None
        return [ended]

    @staticmethod
    def _chatters(seat: _WarningState) -> bool:
        return len(seat.rises_s) == CHATTER_RISES and seat.rises_s[-1] - seat.rises_s[0] <= CHATTER_WITHIN_S

    def _shelf(self, key: Key, priority: Priority, at_s: float) -> float | None:
        until_s = self._shelved.get((*key, priority))
        return until_s if until_s is not None and until_s > at_s else None

    def _is_flooded(self, at_s: float) -> bool:
        while self._rises_s and self._rises_s[0] <= at_s - FLOOD_WITHIN_S:
            self._rises_s.popleft()
        count = len(self._rises_s)
        self._flooded = count > FLOOD_ABOVE or (self._flooded and count >= FLOOD_BELOW)
        return self._flooded

    def _flood(self, at_s: float, warning: RaisedWarning) -> list[RaisedWarning]:
        """A flood is summarised once, at the place of the warning that brought it; while it lasts, low ones are not announced."""
        was = self._flooded
        if warning.rule == "flood" or not self._is_flooded(at_s) or was:
            return []
        message = f"{len(self._rises_s)} warnings within ten minutes: low ones are held back until it is calmer."
        said = Said(message=message, advice="Look first at the one marked as the first; stop trains until it is cleared.")
        self._flood_key = ("flood", warning.scope)
        self._flood_group = group = next(name for name, ids in self._group_standing.items() if warning.id in ids)
        return self.raise_(at_s, self._flood_key, Priority.LOW, said, group)

    def _end_flood(self, at_s: float) -> list[RaisedWarning]:
        """A flood ends at the moment when it is calm enough, whenever that is found."""
        if self._flood_key is None or self._flood_ends_s > at_s:
            return []
        self._is_flooded(at_s)
        key, self._flood_key = self._flood_key, None
        return self.clear(self._flood_ends_s, key, self._flood_group, at_once=True)


def _occurrence(number: int, at_s: float, key: Key, priority: Priority, said: Said) -> RaisedWarning:
    return RaisedWarning(
        id=number,
        rule=key[0],
        priority=priority,
        scope=key[1],
        start_s=at_s,
        end_s=None,
        trip_in_s=said.trip_in_s,
        message=said.message,
        advice=said.advice,
        limit=said.limit,
        share=said.share,
        trip_earliest_s=said.trip_earliest_s,
        trip_latest_s=said.trip_latest_s,
        time_words=said.time_words,
    )
