"""One supply, tick after tick: its rules."""

import math

import numpy as np

from monitor.layout import Layout, Supply
from monitor.layout.ratings import usable_va, winding_amps
from monitor.protection import thresholds as th
from monitor.protection import words
from monitor.protection.alarms import Alarms, Key
from monitor.protection.devices import devices_of
from monitor.protection.headroom import supply_load
from monitor.protection.heat import HeatTrack
from monitor.protection.limit_rules import HAIR, LimitRules
from monitor.protection.limits import supply_limits
from monitor.protection.stall_rule import StallRule
from monitor.protection.step_source import StepSource, find_source
from monitor.protection.ticks import TICK_S
from monitor.protection.trip_rule import Asked, TripRule
from monitor.values import Foreseen, Priority, RecordedOverload, Scope, SupplyLoad, TripForecast
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

HISTORY = round(150 / TICK_S)
SMOOTH = 1 - math.exp(-TICK_S / th.SMOOTH_S)
QUIET_TICKS = 5
"""After so many quiet ticks a supply is worked through in stretches, until a tick is active."""


class SupplyJudge:
    """Judges one supply.

    Attributes:
        name: Its name.
        districts: Names of its districts, in file order; the columns of what it is fed.
        limits: Its own limits.
        smooth: Shape (2, d): amps squared and VA of its districts, smoothed over a second.
        at_s: The end of the last tick.
        is_at_rest: Nothing is about to be announced: ticks may be taken by :meth:`fill` and :meth:`skip` until one is active.
    """

    def __init__(self, layout: Layout, supply: Supply, alarms: Alarms, asked: Asked) -> None:
        self.name = supply.name
        self.districts = tuple(d.name for d in layout.districts_of_supply(supply.name))
        self.limits = supply_limits(supply)
        self.layout, self.supply = layout, supply
        devices = devices_of(supply)
        self._trip = TripRule(supply, devices, alarms, asked) if devices is not None else None
        self.smooth = np.full((2, len(self.districts)), np.nan)
        self._rows, self._remembered = np.zeros((4 * HISTORY, len(self.districts))), 0
        self.at_s = 0.0
        self._alarms = alarms
        protection = supply.protection
        self._is_unguarded = protection is None or protection.kind in ("none", "unknown")
        self._unguarded: Key = ("no-protection", Scope(kind="supply", name=supply.name))
        self._rules = LimitRules(layout, supply, alarms)
        self._stalls = StallRule(layout, supply.name, self.districts, alarms)
        self._unguarded_s, self._short_s, self._quiet_ticks = 0.0, -math.inf, 0

    def note_short(self, at_s: float) -> None:
        """A hard short was seen on one of its districts."""
        self._short_s = at_s

    def feed(self, number: int, volts: Floats, amps: Floats, va: Floats) -> list[RaisedWarning]:
        """Take one tick.

        Args:
            number: The tick's number on the grid.
            volts: Shape (d,): RMS volts of its districts; NaN where unknown. Likewise the others.
            amps: RMS amps.
            va: Volt-amperes.
        """
        out = self._judge(number, volts, amps, va)
        self._quiet_ticks = self._quiet_ticks + 1 if not self.is_at_rest and self._is_quiet else 0
        return out

    @property
    def is_at_rest(self) -> bool:
        """See the class."""
        return self._quiet_ticks >= QUIET_TICKS

    @property
    def _is_quiet(self) -> bool:
        quiet = self._rules.is_quiet and self._stalls.is_quiet and (self._trip is None or self._trip.is_quiet)
        return quiet and not self._unguarded_s and self._alarms.standing(*self._unguarded) is None

    @property
    def state(self) -> Floats:
        """What quiet ticks carry on, shape (m,)."""
        smooth = self.smooth.ravel()
        return smooth if self._trip is None else np.concatenate([smooth, self._trip.figures])

    def fill(self, figures: Floats, kept: Floats, gained: Floats) -> None:
        """Fill in the recurrence of :attr:`state` over quiet ticks.

        Args:
            figures: Shape (n, 3, d): volts, amps and VA of n ticks; NaN where unknown.
            kept: Shape (n, m), to be filled. Likewise gained.
            gained: See :func:`followed`.
        """
        now = _squared(figures).reshape(len(figures), -1)
        smooth = now.shape[1]
        kept[:, :smooth], gained[:, :smooth] = 1.0 - SMOOTH, SMOOTH * now
        if self._trip is not None:
            self._trip.fill(_totals(figures), kept[:, smooth:], gained[:, smooth:])

    def skip(self, number: int, figures: Floats, states: Floats) -> int:
        """Take ticks up to the first active one.

        Args:
            number: The number of the first.
            figures: As :meth:`fill` took them.
            states: Shape (n, m): what that gave.

        Returns:
            How many were taken; the next one, if any, is for :meth:`feed`.
        """
        smooth, rest = np.split(states, [2 * len(self.districts)], axis=1)
        smooth = smooth.reshape(-1, 2, len(self.districts))
        active = self._rules.active_ticks(smooth)
        active |= self._stalls.active_ticks(figures[:, 1], np.concatenate([self.smooth[None, 0], smooth[:-1, 0]]))
        if self._is_unguarded:
            active |= self._rules.whole_shares(smooth) > th.UNGUARDED - HAIR
        # A district whose readings begin or end starts from nothing.
        active |= (np.isnan(_squared(figures)) != np.isnan(self.smooth)).any(axis=(1, 2))
        totals = _totals(figures)
        if self._trip is not None:
            ends_s = np.arange(number + 1.0, number + len(figures) + 1.0) * TICK_S
            active |= self._trip.active_ticks(ends_s, figures[:, 0], totals, rest, self._short_s)
        quiet = int(np.argmax(active)) if active.any() else len(active)
        if quiet:
            self._rules.skip(smooth[:quiet])
            if self._trip is not None:
                self._trip.skip(totals[:quiet], rest[:quiet])
            self.smooth = smooth[quiet - 1].copy()
            self.at_s = (number + quiet) * TICK_S
            self._remember(figures[:quiet, 1])
        return quiet

    def _judge(self, number: int, volts: Floats, amps: Floats, va: Floats) -> list[RaisedWarning]:
        self.at_s = (number + 1) * TICK_S
        # A handful of districts: plain sums take a fraction of what numpy's take, and this runs five times a second a supply.
        known = [drawn for drawn in amps.tolist() if not math.isnan(drawn)]
        total = sum(known) if known else math.nan
        self._remember(amps[None])
        now = np.array([amps * amps, va])
        before, smooth = self.smooth, self.smooth + SMOOTH * (now - self.smooth)
        # Where readings begin or end, start again with what is known now.
        self.smooth = np.where(np.isnan(smooth), now, smooth)
        out = self._judge_trip(volts, total) if self._trip is not None else []
        if self._trip is not None and self._trip.is_open:
            # What was drawn before it opened says nothing any more.
            self.smooth = now
            return out + self._rules.rest(self.at_s) + self._stalls.rest(self.at_s)
        out += self._rules.feed(self.at_s, self.smooth, lambda: self.forecast, self._source)
        out += self._stalls.feed(self.at_s, amps, before, volts, self.history)
        return out + self._judge_unguarded()

    @property
    def heat(self) -> HeatTrack | None:
        """Heat of its protection; None where it has none."""
        return self._trip.heat if self._trip is not None else None

    @property
    def forecast(self) -> TripForecast | None:
        """When its protection would open; None where it would not."""
        return self._trip.forecast if self._trip is not None else None

    @property
    def history(self) -> Floats:
        """Shape (n, d): amps of the last ticks, at least the last two and a half minutes."""
        return self._rows[: self._remembered]

    def drain(self) -> tuple[list[Foreseen], list[RecordedOverload]]:
        """Forecasts and overloads since the last call, where they are asked for."""
        trip = self._trip
        if trip is None:
            return [], []
        foreseen, trip.foreseen = trip.foreseen, []
        overloads: list[RecordedOverload] = []
        if trip.would_be is not None:
            overloads, trip.would_be.records = trip.would_be.records, []
        return foreseen, overloads

    def load(self) -> SupplyLoad:
        """How it stands."""
        return supply_load(self)

    def _remember(self, amps: Floats) -> None:
        amps = amps[-HISTORY:]
        if self._remembered + len(amps) > len(self._rows):
            kept = self._rows[self._remembered - HISTORY : self._remembered].copy()
            self._rows[:HISTORY], self._remembered = kept, HISTORY
        self._rows[self._remembered : self._remembered + len(amps)] = amps
        self._remembered += len(amps)

    def _judge_trip(self, volts: Floats, total: float) -> list[RaisedWarning]:
        trip = self._trip
        if trip is None:
            return []
        out = trip.follow_opening(self.at_s, volts, total, self._short_s)
        return out + trip.feed(self.at_s, total, self._squares, lambda: self._source(trip.over_s))

    def _squares(self) -> Floats:
        squares: Floats = np.nan_to_num(self.history[-HISTORY:].sum(axis=1) ** 2)
        return squares

    def _source(self, over_s: float) -> StepSource | None:
        return find_source(self.layout, self.districts, self.history[-HISTORY:], round(over_s / TICK_S) + 1)

    def _judge_unguarded(self) -> list[RaisedWarning]:
        """Far over the rating for long, where no protection is known."""
        if not self._is_unguarded:
            return []
        key = self._unguarded
        amps, va = (float(np.nansum(row)) for row in (np.sqrt(self.smooth[0]), self.smooth[1]))
        share = max(amps / winding_amps(self.supply), va / usable_va(self.supply))
        self._unguarded_s = self._unguarded_s + TICK_S if share > th.UNGUARDED else 0.0
        if self._unguarded_s >= th.UNGUARDED_S:
            wording = words.unguarded(self.name, share, self._source(self._unguarded_s))
            return self._alarms.raise_(self.at_s, key, Priority.HIGH, wording, self.name)
        return self._alarms.clear(self.at_s, key, self.name) if share < th.UNGUARDED_BACK * th.UNGUARDED else []


def _squared(figures: Floats) -> Floats:
    """Amps squared and VA of n ticks, shape (n, 2, d)."""
    return np.stack([figures[:, 1] * figures[:, 1], figures[:, 2]], axis=1)


def _totals(figures: Floats) -> Floats:
    """Amps of the supply, shape (n,); NaN where none of its districts is known."""
    amps = figures[:, 1]
    known = np.isfinite(amps)
    totals: Floats = np.where(known, amps, 0.0).sum(axis=1)
    totals[~known.any(axis=1)] = np.nan
    return totals
