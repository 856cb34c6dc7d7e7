"""Warnings as managed alarms, in the terms of ISA-18.2 / IEC 62682.

Priorities: LOW asks to know and act when convenient, MEDIUM to act within minutes, HIGH to act at once.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from monitor.protection import thresholds as th
from monitor.values import Action, Priority, Scope
from monitor.values import Warning as RaisedWarning
from monitor.words.sentences import say

RETURNED_KEPT = 200
Key = tuple[str, Scope]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
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
    rises_s: deque[float] = field(default_factory=lambda: deque(maxlen=int(th.CHATTER_RISES)))
    quiet_since_s: float | None = None


class Alarms:
    """All alarms of a stream. Rules say what holds; this says what is announced.

    Args:
        ids: Where ids come from.
    """

    def __init__(self, ids: Iterator[int]) -> None:
        self._ids = ids
        self._states: dict[Key, _WarningState] = {}
        self._shelved: dict[tuple[str, Scope, Priority], float] = {}
        self._returned: dict[int, RaisedWarning] = {}
        self._rises: deque[tuple[float, bool, str]] = deque(maxlen=1000)  # when, whether first out, and where
        self._flooded = False
        self._flood_key: Key | None = None
        self._flood_group = ""
        self._flood_ends_s = 0.0
        self._group_standing: dict[str, set[int]] = {}

    def standing(self, rule: str, scope: Scope) -> RaisedWarning | None:
        """The occurrence that stands there, if any."""
        state = self._states.get((rule, scope))
        return state.standing if state else None

    def raise_(self, at_s: float, key: Key, priority: Priority, wording: Wording, group: str) -> list[RaisedWarning]:
        """A rule holds; nothing new while it stands in the same priority.

        Args:
            at_s: When.
            key: The rule and the place.
            priority: How soon to act; another than the standing one ends that and begins a new occurrence.
            wording: What it says.
            group: The supply it belongs to, for first-out.
        """
        out = self._end_flood(at_s)
        state = self._states.setdefault(key, _WarningState())
        state.quiet_since_s = None
        if state.standing is not None and state.standing.priority == priority:
            return out
        out += self._end(state, at_s, group) if state.standing is not None else []
        if priority is Priority.LOW and self._is_flooded(at_s) and key[0] != "flood":
            return out
        state.rises_s.append(at_s)
        group_standing = self._group_standing.setdefault(group, set())
        self._rises.append((at_s, not group_standing, key[1].name))
        # Then fewer than it takes will have risen lately; a flood is of more.
        self._flood_ends_s = self._rises[-min(int(th.FLOOD_BELOW), len(self._rises))][0] + th.FLOOD_WITHIN_S
        warning = replace(
            _occurrence(next(self._ids), at_s, key, priority, wording),
            shelved_until_s=self._shelf(key, priority, at_s),
            first_out=not group_standing,
            comes_and_goes=self._chatters(state),
        )
        group_standing.add(warning.id)
        state.standing = warning
        return [*out, warning, *self._flood(at_s, warning)]

    def clear(self, at_s: float, key: Key, group: str, *, at_once: bool = False) -> list[RaisedWarning]:
        """A rule no longer holds; what chatters stands on until it has been quiet for a while.

        Args:
            at_s: When.
            key: The rule and the place.
            group: The supply it belongs to.
            at_once: The state of things has changed for good (protection open, load gone): no waiting, chatter forgotten.
        """
        state = self._states.get(key)
        if state is None or state.standing is None:
            return []
        if at_once:
            state.rises_s.clear()
        elif self._chatters(state):
            if state.quiet_since_s is None:
                state.quiet_since_s = at_s
            if at_s - state.quiet_since_s < th.CHATTER_HOLD_S:
                return []
        return self._end(state, at_s, group)

    def operate(self, action: Action) -> list[RaisedWarning]:
        """What an operator did."""
        if action.kind == "acknowledge" and action.warning_id in self._returned:
            return [replace(self._returned.pop(action.warning_id), state="normal")]
        found = [
            (key, state, state.standing)
            for key, state in self._states.items()
            if state.standing is not None and state.standing.id == action.warning_id
        ]
        out = []
        for key, state, warning in found:
            if action.kind == "acknowledge":
                state.standing = replace(warning, state="acknowledged")
            elif action.kind == "shelve" and action.until_s is not None:
                until_s = min(action.until_s, action.at_s + th.SHELF_LIMIT_S)
                self._shelved[(*key, warning.priority)] = until_s
                state.standing = replace(warning, shelved_until_s=until_s)
            elif action.kind == "unshelve":
                self._shelved.pop((*key, warning.priority), None)
                state.standing = replace(warning, shelved_until_s=None)
            if state.standing is not None and state.standing != warning:
                out.append(state.standing)
        return out

    def tick(self, now_s: float) -> list[RaisedWarning]:
        """Shelving and floods that end."""
        out = self._end_flood(now_s)
        for key in [key for key, until_s in self._shelved.items() if until_s <= now_s]:
            del self._shelved[key]
            state = self._states[key[:2]]
            if state.standing is not None and state.standing.priority == key[2]:
                state.standing = replace(state.standing, shelved_until_s=None)
                out.append(state.standing)
        return out

    def _end(self, state: _WarningState, at_s: float, group: str) -> list[RaisedWarning]:
        assert state.standing is not None  # noqa: S101 - callers looked
        returned = state.standing.state == "unacknowledged"
        ended = replace(state.standing, end_s=max(at_s, state.standing.start_s), state="returned" if returned else "normal")
        if returned:
            self._returned[ended.id] = ended
            if len(self._returned) > RETURNED_KEPT:
                self._returned.pop(next(iter(self._returned)))
        self._group_standing[group].discard(ended.id)
        state.standing, state.quiet_since_s = None, None
        return [ended]

    @staticmethod
    def _chatters(state: _WarningState) -> bool:
        return len(state.rises_s) >= th.CHATTER_RISES and state.rises_s[-1] - state.rises_s[0] <= th.CHATTER_WITHIN_S

    def _shelf(self, key: Key, priority: Priority, at_s: float) -> float | None:
        until_s = self._shelved.get((*key, priority))
        return until_s if until_s is not None and until_s > at_s else None

    def _is_flooded(self, at_s: float) -> bool:
        while self._rises and self._rises[0][0] <= at_s - th.FLOOD_WITHIN_S:
            self._rises.popleft()
        count = len(self._rises)
        self._flooded = count > th.FLOOD_ABOVE or (self._flooded and count >= th.FLOOD_BELOW)
        return self._flooded

    def _flood(self, at_s: float, warning: RaisedWarning) -> list[RaisedWarning]:
        """A flood is summarised once, at the place of the warning that brought it; while it lasts, low ones are not announced."""
        was = self._flooded
        if warning.rule == "flood" or not self._is_flooded(at_s) or was:
            return []
        first = next((name for _, is_first, name in self._rises if is_first), self._rises[0][2])
        message = say("flood-rise", n=len(self._rises), first=say("flood-first", where=first))
        wording = Wording(message=message, advice=say("flood-do"))
        self._flood_key = ("flood", warning.scope)
        self._flood_group = group = next(name for name, ids in self._group_standing.items() if warning.id in ids)
        return self.raise_(at_s, self._flood_key, Priority.LOW, wording, group)

    def _end_flood(self, at_s: float) -> list[RaisedWarning]:
        """A flood ends at the moment when few enough rose lately, whenever that is found."""
        if self._flood_key is None or self._flood_ends_s > at_s:
            return []
        self._is_flooded(at_s)
        key, self._flood_key = self._flood_key, None
        return self.clear(self._flood_ends_s, key, self._flood_group, at_once=True)


def _occurrence(number: int, at_s: float, key: Key, priority: Priority, wording: Wording) -> RaisedWarning:
    return RaisedWarning(
        id=number,
        rule=key[0],
        priority=priority,
        scope=key[1],
        start_s=at_s,
        end_s=None,
        trip_in_s=wording.trip_in_s,
        message=wording.message,
        advice=wording.advice,
        limit=wording.limit,
        share=wording.share,
        trip_earliest_s=wording.trip_earliest_s,
        trip_latest_s=wording.trip_latest_s,
        time_words=wording.time_words,
    )
