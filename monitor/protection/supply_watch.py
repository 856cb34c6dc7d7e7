"""One supply, tick after tick: its rules."""

import math

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout, Supply
from monitor.protection import words
from monitor.protection.alarms import Alarms, Key
from monitor.protection.headroom import supply_load
from monitor.protection.heat import HeatTrack
from monitor.protection.limit_rules import LimitRules
from monitor.protection.limits import device_of, supply_limits, usable_va, winding_amps
from monitor.protection.step_source import StepSource, find_step
from monitor.protection.ticks import TICK_S
from monitor.values import Priority, Scope, SupplyLoad, TripForecast
from monitor.values import Warning as RaisedWarning

Floats = NDArray[np.float64]
HISTORY = round(150 / TICK_S)
SMOOTH = 1 - math.exp(-TICK_S / 1.0)
FAST = 1 - math.exp(-TICK_S / 0.4)
OVER, BACK = 1.0, 0.96
"""Over the hold current at OVER; no longer below BACK: a deadband of four percent."""
OFF_DELAY_S = 1.0
HOT = 0.92
UNGUARDED_SHARE, UNGUARDED_S = 1.5, 60.0


class SupplyWatch:
    """Judges one supply.

    Attributes:
        name: Its name.
        districts: Names of its districts, in file order; the columns of what it is fed.
    """

    def __init__(self, layout: Layout, supply: Supply, alarms: Alarms) -> None:
        self.name = supply.name
        self.districts = tuple(d.name for d in layout.districts_of_supply(supply.name))
        self.limits = supply_limits(supply)
        self.layout, self.supply = layout, supply
        self.capable_amps = max(limit.amps for limit in self.limits if limit.amps is not None)
        device = device_of(supply)
        self.heat = HeatTrack(device) if device is not None else None
        self.smooth = np.full((2, len(self.districts)), np.nan)
        self._rows, self._remembered = np.zeros((4 * HISTORY, len(self.districts))), 0
        self.at_s = 0.0
        self._alarms = alarms
        self._scope = Scope(kind="supply", name=supply.name)
        self._rules = LimitRules(layout, supply, alarms)
        self._square, self._fast_square, self._earlier_square = 0.0, 0.0, 0.0
        self._over_s, self._under_s, self._hot_s, self._unguarded_s = 0.0, 0.0, 0.0, 0.0
        self._last_over_s, self._short_s = -math.inf, -math.inf
        self.forecast: TripForecast | None = None

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
        self.at_s = (number + 1) * TICK_S
        # A handful of districts: plain sums take a fraction of what numpy's take, and this runs five times a second a supply.
        heard = [drawn for drawn in amps.tolist() if not math.isnan(drawn)]
        total = sum(heard) if heard else math.nan
        self._remember(amps, va, total)
        out = self._follow_opening(volts, total)
        if self.heat is not None:
            self.heat.step(total)
            out += self._judge_heat(self.heat, total)
        source = self._source() if self._over_s else None
        out += self._rules.feed(self.at_s, self.smooth, self.forecast, source)
        return out + self._judge_unguarded(total)

    @property
    def history(self) -> Floats:
        """Shape (n, d): amps of the last ticks, at least the last two and a half minutes."""
        return self._rows[: self._remembered]

    def load(self) -> SupplyLoad:
        """How it stands."""
        return supply_load(self)

    def _remember(self, amps: Floats, va: Floats, total: float) -> None:
        if self._remembered == len(self._rows):
            self._rows[:HISTORY] = self._rows[-HISTORY:]
            self._remembered = HISTORY
        self._rows[self._remembered] = amps
        self._remembered += 1
        now = np.array([amps * amps, va])
        smooth = self.smooth + SMOOTH * (now - self.smooth)
        # Nothing is known of the one or of the other: begin anew with what is known now.
        self.smooth = np.where(np.isnan(smooth), now, smooth)
        if total == total:  # noqa: PLR0124 - not NaN
            self._earlier_square += FAST * (self._fast_square - self._earlier_square)
            self._fast_square += FAST * (total**2 - self._fast_square)

    def _follow_opening(self, volts: Floats, total: float) -> list[RaisedWarning]:
        heat, known = self.heat, [level for level in volts.tolist() if not math.isnan(level)]
        if heat is None or not known:
            return []
        is_low = len(known) == len(volts) and max(known) < 0.05 * self.supply.max_volts
        is_dead = is_low and total < 0.05 * self.capable_amps
        key: Key = ("protection-open", self._scope)
        if heat.open_since_s is None and is_dead:
            after_short = self.at_s - self._short_s < 1.0
            if not after_short and not (self.at_s - self._last_over_s < 1.0 and heat.likely > 0.35):
                return []
            heat.opened(self.at_s, by_heat=not after_short)
            self._over_s = self._hot_s = 0.0
            self.forecast = None
            out = self._alarms.clear(self.at_s, ("trip-forecast", self._scope), self.name, at_once=True)
            said = words.opened(self.name, heat.reset_in_s() if self._closes() else None, after_short=after_short)
            return out + self._alarms.raise_(self.at_s, key, Priority.MEDIUM, said, self.name)
        if heat.open_since_s is not None and not is_dead:
            heat.closed()
            self._fast_square = self._earlier_square = 0.0
            return self._alarms.clear(self.at_s, key, self.name, at_once=True)
        return []

    def _closes(self) -> bool:
        protection = self.supply.protection
        return protection is not None and protection.kind in ("thermal", "electronic") and protection.reset != "manual"

    def _judge_heat(self, heat: HeatTrack, total: float) -> list[RaisedWarning]:
        key: Key = ("trip-forecast", self._scope)
        if heat.open_since_s is not None or total != total:  # noqa: PLR0124 - NaN
            return []
        hold = heat.device.hold_amps * math.sqrt(heat.opens_at if heat.opens_at < 1 else 1.0)
        amps = math.sqrt(self._fast_square)
        if amps > OVER * hold:
            self._last_over_s, self._under_s = self.at_s, 0.0
            self._over_s += TICK_S
        elif amps < BACK * hold:
            self._under_s += TICK_S
        elif self._over_s:
            self._over_s += TICK_S
        if self._under_s >= OFF_DELAY_S:
            self._over_s = 0.0
        self._hot_s = self._hot_s + TICK_S if heat.likely > HOT * heat.opens_at and amps > 0.95 * hold else 0.0
        if not self._over_s and not self._hot_s:
            self.forecast = None
            return self._alarms.clear(self.at_s, key, self.name)
        return self._warn_of_trip(heat, key, amps)

    def _warn_of_trip(self, heat: HeatTrack, key: Key, amps: float) -> list[RaisedWarning]:
        """High once the overload has lasted for its patience: start-up currents and short grades are over by then."""
        going = math.sqrt(max(0.0, self._fast_square + min(0.0, 2.0 * (self._fast_square - self._earlier_square))))
        plain_s = heat.device.opens_in_s(heat.likely, going, heat.opens_at)
        patience_s = max(1.0 + 0.1 * (plain_s + self._over_s), 0.4 * (plain_s + self._over_s) - 5.0)
        is_due = self._over_s >= patience_s or self._hot_s >= 3.0
        standing = self._alarms.standing(*key)
        if not is_due and standing is None:
            self.forecast = self._plain_forecast(heat, going)
            return []
        if standing is None or round(self.at_s / TICK_S) % 10 == 0:
            squares = np.nan_to_num(self.history[-HISTORY:].sum(axis=1) ** 2)
            near = going if plain_s < math.inf else 1.05 * going
            self.forecast = heat.forecast(near, squares)
        if self.forecast is None or standing is not None:
            return []
        said = words.trip_forecast(self.name, amps, heat.device.hold_amps, self.forecast, self._source())
        return self._alarms.raise_(self.at_s, key, Priority.HIGH, said, self.name)

    @staticmethod
    def _plain_forecast(heat: HeatTrack, amps: float) -> TripForecast | None:
        return heat.forecast(amps, np.zeros(0))

    def _source(self) -> StepSource | None:
        return find_step(self.layout, self.districts, self.history, round(self._over_s / TICK_S) + 1)

    def _judge_unguarded(self, total: float) -> list[RaisedWarning]:
        """Far over the rating for long, where no protection is known."""
        protection = self.supply.protection
        if protection is not None and protection.kind not in ("none", "unknown"):
            return []
        key: Key = ("no-protection", self._scope)
        self._square += SMOOTH * (np.nan_to_num(total) ** 2 - self._square)
        share = max(
            math.sqrt(self._square) / winding_amps(self.supply), float(np.nansum(self.smooth[1])) / usable_va(self.supply)
        )
        self._unguarded_s = self._unguarded_s + TICK_S if share > UNGUARDED_SHARE else 0.0
        if self._unguarded_s >= UNGUARDED_S:
            return self._alarms.raise_(self.at_s, key, Priority.HIGH, words.unguarded(self.name, share), self.name)
        return self._alarms.clear(self.at_s, key, self.name) if share < 0.95 * UNGUARDED_SHARE else []
