"""Ratings against what is drawn: over them (medium), close to them (low)."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout, Supply
from monitor.protection import thresholds as th
from monitor.protection import words
from monitor.protection.alarms import Alarms, Wording
from monitor.protection.limits import feeder_limit, output_limit, supply_limits
from monitor.protection.step_source import StepSource
from monitor.protection.ticks import TICK_S
from monitor.values import Limit, Priority, Scope, TripForecast
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

STEADY = {None: (-math.inf, th.NEAR), Priority.LOW: (th.NEAR - th.DEADBAND, 1.0), Priority.MEDIUM: (1.0 - th.DEADBAND, math.inf)}
"""Shares between which what is announced stays as it is."""
HAIR = 1e-9
"""Shares of many ticks are added up in another order than those of one."""
RULES = {
    "nameplate": "over-nameplate",
    "winding": "over-winding",
    "protection": "over-protection-rating",
    "output": "over-output-limit",
    "feeder": "over-feeder-ampacity",
}


@dataclass(slots=True)
class _Watched:
    """Limits of one place, given as one warning."""

    scope: Scope
    limits: tuple[Limit, ...]
    columns: list[int]
    over_s: float = 0.0
    near_s: float = 0.0
    back_s: float = 0.0
    priority: Priority | None = None
    rule: str = ""


class LimitRules:
    """Judges the ratings of one supply, its outputs and its feeders."""

    def __init__(self, layout: Layout, supply: Supply, alarms: Alarms) -> None:
        self._alarms = alarms
        self._supply = supply.name
        self._unless = words.guard(supply.protection)
        self._watched = list(_watched(layout, supply))
        districts = len(layout.districts_of_supply(supply.name))
        self._of_amps = _shares(self._watched, districts, [[limit.amps for limit in w.limits] for w in self._watched])
        self._of_va = _shares(self._watched, districts, [[limit.va for limit in w.limits] for w in self._watched])

    def feed(
        self,
        at_s: float,
        smooth: Floats,
        forecast: Callable[[], TripForecast | None],
        source: Callable[[float], StepSource | None],
    ) -> list[RaisedWarning]:
        """Take one tick.

        Args:
            at_s: Its end.
            smooth: Shape (2, d): smoothed amps squared and VA of the supply's districts.
            forecast: Tells when the supply's protection would open.
            source: Gives the step behind an overload that was noticed so many seconds ago.
        """
        amps, va = np.sqrt(smooth[0]).tolist(), smooth[1].tolist()
        out: list[RaisedWarning] = []
        for watched in self._watched:
            drawn = sum(amps[k] for k in watched.columns if amps[k] == amps[k])
            power = sum(va[k] for k in watched.columns if va[k] == va[k])
            limit, share = binding(watched.limits, drawn, power)
            if share < th.NEAR - th.DEADBAND and watched.priority is None:
                watched.over_s = watched.near_s = 0.0
                continue
            _time(watched, share)
            out += self._announce(watched, at_s, lambda: self._wording(watched, limit, (drawn, power), forecast, source))  # noqa: B023 - called at once
        return out

    @property
    def is_quiet(self) -> bool:
        """Nothing is about to be announced: no delay runs towards it."""
        return all(watched.priority is not None or not (watched.over_s or watched.near_s) for watched in self._watched)

    def active_ticks(self, smooth: Floats) -> NDArray[np.bool_]:
        """Ticks in which a delay may begin to run towards another announcement than the present one.

        Args:
            smooth: Shape (n, 2, d): as :meth:`feed` takes them, tick after tick.

        Returns:
            Shape (n,).
        """
        shares = self._shares(smooth)
        lowest, highest = np.array([STEADY[watched.priority] for watched in self._watched]).T
        return np.asarray(((shares < lowest + HAIR) | (shares > highest - HAIR)).any(axis=1))

    def skip(self, smooth: Floats) -> None:
        """Quiet ticks passed; shape as of :meth:`active_ticks`."""
        for watched, shares in zip(self._watched, self._shares(smooth).T, strict=True):
            for share in shares.tolist() if watched.priority is not None else ():
                _time(watched, share)

    def whole_shares(self, smooth: Floats) -> Floats:
        """The share of the supply's tightest limit, shape (n,); shape of smooth as of :meth:`active_ticks`."""
        whole: Floats = self._shares(smooth)[:, 0]
        return whole

    def _shares(self, smooth: Floats) -> Floats:
        """The share of each place's tightest limit, shape (n, places)."""
        drawn = np.nan_to_num(np.sqrt(smooth[:, 0])) @ self._of_amps
        power = np.nan_to_num(smooth[:, 1]) @ self._of_va
        return np.maximum(drawn, power)

    def rest(self, at_s: float) -> list[RaisedWarning]:
        """The protection is open: nothing is drawn, whatever was drawn before."""
        out: list[RaisedWarning] = []
        for watched in self._watched:
            if watched.priority is not None:
                out += self._alarms.clear(at_s, (watched.rule, watched.scope), self._supply, at_once=True)
            watched.over_s = watched.near_s = watched.back_s = 0.0
            watched.priority = None
        return out

    def _announce(self, watched: _Watched, at_s: float, wording_of: Callable[[], tuple[str, Wording]]) -> list[RaisedWarning]:
        wanted = _wanted(watched)
        if wanted is watched.priority:
            return []
        out: list[RaisedWarning] = []
        if watched.priority is not None:
            out = self._alarms.clear(at_s, (watched.rule, watched.scope), self._supply, at_once=wanted is not None)
            if not out and wanted is None and self._alarms.standing(watched.rule, watched.scope) is not None:
                return []
        watched.priority = wanted
        if wanted is None:
            return out
        watched.rule, wording = wording_of()
        return out + self._alarms.raise_(at_s, (watched.rule, watched.scope), wanted, wording, self._supply)

    def _wording(
        self,
        watched: _Watched,
        limit: Limit,
        drawn: tuple[float, float],
        forecast: Callable[[], TripForecast | None],
        source: Callable[[float], StepSource | None],
    ) -> tuple[str, Wording]:
        """The rule's name and its words."""
        use = words.Use(limit=limit, amps=drawn[0], va=drawn[1])
        if watched.priority is not Priority.MEDIUM:
            return "near-limit", words.near_limit(use)
        return RULES[limit.kind], words.over_limit(use, source(watched.over_s), forecast(), self._unless)


def _watched(layout: Layout, supply: Supply) -> list[_Watched]:
    districts = layout.districts_of_supply(supply.name)
    found = [_Watched(Scope(kind="supply", name=supply.name), supply_limits(supply), list(range(len(districts))))]
    for output in layout.output:
        limit = output_limit(output)
        columns = [k for k, d in enumerate(districts) if d.output == output.name]
        if output.supply == supply.name and limit is not None and columns:
            found.append(_Watched(Scope(kind="output", name=limit.place), (limit,), columns))
    for column, district in enumerate(districts):
        limit = feeder_limit(district)
        if limit is not None:
            found.append(_Watched(Scope(kind="district", name=district.name), (limit,), [column]))
    return found


def _shares(places: list[_Watched], districts: int, limits: list[list[float | None]]) -> Floats:
    """Shape (d, places): what one amp (or VA) of a district takes of the tightest limit of each place."""
    shares = np.zeros((districts, len(places)))
    for column, (watched, figures) in enumerate(zip(places, limits, strict=True)):
        shares[watched.columns, column] = 1.0 / min((figure for figure in figures if figure is not None), default=math.inf)
    return shares


def binding(limits: tuple[Limit, ...], amps: float, va: float) -> tuple[Limit, float]:
    """The limit with the largest share in use, and that share.

    Args:
        limits: At least one.
        amps: What flows under them.
        va: Likewise.
    """
    shares = [amps / limit.amps if limit.amps is not None else va / (limit.va or math.inf) for limit in limits]
    best = max(range(len(shares)), key=shares.__getitem__)
    return limits[best], shares[best]


def _time(watched: _Watched, share: float) -> None:
    """Run the delays: time over a limit counts up and, while under it, down again."""
    over, near = share > 1.0, share > th.NEAR
    watched.over_s = min(th.RATING_ON_S, watched.over_s + TICK_S) if over else max(0.0, watched.over_s - TICK_S)
    watched.near_s = min(th.NEAR_ON_S, watched.near_s + TICK_S) if near else max(0.0, watched.near_s - TICK_S)
    floor = 1.0 - th.DEADBAND if watched.priority is Priority.MEDIUM else th.NEAR - th.DEADBAND
    watched.back_s = watched.back_s + TICK_S if share < floor else 0.0


def _wanted(watched: _Watched) -> Priority | None:
    if watched.over_s >= th.RATING_ON_S - 1e-9:
        return Priority.MEDIUM
    if watched.priority is not None:
        return None if watched.back_s >= th.RATING_OFF_S - 1e-9 else watched.priority
    return Priority.LOW if watched.near_s >= th.NEAR_ON_S - 1e-9 else None
