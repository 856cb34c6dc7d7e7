"""When the protection of one supply would open, and when it did."""

import copy
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Supply
from monitor.protection import thresholds as th
from monitor.protection import words
from monitor.protection.alarms import Alarms, Key
from monitor.protection.coming import keeps_to_lap, ways
from monitor.protection.devices import Devices, closes_by_itself
from monitor.protection.forecast import foresee
from monitor.protection.heat import HeatTrack
from monitor.protection.limits import most_amps
from monitor.protection.step_source import StepSource
from monitor.protection.ticks import TICK_S
from monitor.protection.would_be import WouldBe
from monitor.values import Foreseen, Priority, Scope, TripForecast
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

FAST = 1 - math.exp(-TICK_S / th.FAST_S)
FORECAST_EVERY, LAP_EVERY = 10, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked of a stream besides warnings.

    Attributes:
        would_open: The stream is a recording, and the layout another one than it was made with: what opens in it tells nothing of
            this layout's protections, but they would have opened at moments of their own.
        forecasts: Keep forecasts, every two seconds while a warning of an opening stands.
        intervals: Uncertainties of one-cycle readings.
    """

    would_open: bool = False
    forecasts: bool = False
    intervals: bool = False


class TripRule:
    """Follows the heat of one protection and warns before it opens.

    Attributes:
        heat: Its heat.
        over_s: How long more has been drawn than it holds.
        would_be: What it would have done in a recording that was made with another protection; None where that is not asked.
        foreseen: Forecasts that were kept since they were last taken.
    """

    def __init__(self, supply: Supply, devices: Devices, alarms: Alarms, asked: Asked) -> None:
        is_fuse = supply.protection is not None and supply.protection.kind == "fuse"
        self.heat = heat = HeatTrack(devices, is_foreign=asked.would_open, is_replaced=is_fuse)
        self.would_be = WouldBe(supply.name, heat) if asked.would_open else None
        self.foreseen: list[Foreseen] = []
        self._asked = asked
        self._forecast: Callable[[], TripForecast | None] = _no_forecast
        self.over_s = 0.0
        self._supply, self._alarms = supply, alarms
        self._capable_amps = most_amps(supply)
        scope = Scope(kind="supply", name=supply.name)
        self._trip: Key = ("trip-forecast", scope)
        self._open: Key = ("protection-open", scope)
        self._square, self._earlier_square = 0.0, 0.0
        self._under_s, self._hot_s = 0.0, 0.0
        self._last_over_s = -math.inf
        self._was_dead, self._closed_s = False, -math.inf
        self._safe_lap: int | None = None

    @property
    def is_open(self) -> bool:
        """Whether it is taken for open."""
        return self.heat.open_since_s is not None

    @property
    def forecast(self) -> TripForecast | None:
        """When it would open; None where it would not."""
        return self._forecast()

    @property
    def is_quiet(self) -> bool:
        """Nothing near an opening, nothing announced."""
        quiet = not self.over_s and not self._hot_s and self.heat.is_quiet
        return quiet and self._alarms.standing(*self._trip) is None

    @property
    def figures(self) -> Floats:
        """The draw squared and smoothed, then the heats."""
        return np.concatenate([[self._square], self.heat.heats])

    def fill(self, totals: Floats, kept: Floats, gained: Floats) -> None:
        """Fill in the recurrence of :attr:`figures` over n draws, all unknown (NaN) while it is lost and all known while not.

        Args:
            totals: Shape (n,).
            kept: Shape (n, m), to be filled. Likewise gained.
            gained: See :func:`followed`.
        """
        # Of what is not known nothing is learnt.
        fast = 0.0 if self.heat.is_lost else FAST
        kept[:, 0], gained[:, 0] = 1.0 - fast, fast * np.nan_to_num(totals) ** 2
        kept[:, 1:], gained[:, 1:] = self.heat.steps(totals)

    def active_ticks(self, ends_s: Floats, volts: Floats, totals: Floats, states: Floats, short_s: float) -> NDArray[np.bool_]:
        """Ticks that have to be judged one by one.

        Args:
            ends_s: Shape (n,): their ends.
            volts: Shape (n, d): volts of the supply's districts.
            totals: Shape (n,): amps of the supply.
            states: Shape (n, m): where :meth:`fill` leads.
            short_s: When a short was last seen.

        Returns:
            Shape (n,).
        """
        heat, hold = self.heat, self.heat.quick_hold_amps
        if heat.is_lost:
            return np.isfinite(totals)
        amps = np.sqrt(states[:, 0])
        held = totals <= min(hold, heat.hold_amps)
        hot = (states[:, 1] > th.HOT) & (amps > th.HOT_AMPS * hold)
        recent = (ends_s - short_s < th.AFTER_SHORT_S) | (ends_s - self._last_over_s < th.AFTER_OVER_S) | self._asked.would_open
        dead = recent & (volts < th.DEAD * self._supply.max_volts).all(axis=1)
        # A draw that is not known is not held either.
        active: NDArray[np.bool_] = ~held | (amps > th.OVER * hold) | hot | dead
        return active

    def skip(self, totals: Floats, states: Floats) -> None:
        """Take on where :meth:`fill` led; shapes as of :meth:`active_ticks`, quiet ticks only."""
        if not self.heat.is_lost:
            for square in [self._square, *states[:-1, 0].tolist()]:
                self._earlier_square += FAST * (square - self._earlier_square)
            self._square = float(states[-1, 0])
        self.heat.skip(float(totals[-1]), states[:, 1:])
        self._forecast = _no_forecast

    def follow_opening(self, at_s: float, volts: Floats, total: float, short_s: float) -> list[RaisedWarning]:
        """See it open and close.

        Args:
            at_s: The tick's end.
            volts: Volts of the supply's districts; NaN where unknown.
            total: Their amps; NaN where unknown.
            short_s: When a short was last seen.
        """
        known = [level for level in volts.tolist() if not math.isnan(level)]
        if not known:
            return []
        is_low = len(known) == len(volts) and max(known) < th.DEAD * self._supply.max_volts
        is_dead = is_low and total < th.DEAD * self._capable_amps
        if not self.is_open and is_dead:
            if self.would_be is not None and not self._was_dead:
                self.would_be.dead(at_s)
            self._was_dead = True
            return self._opened(at_s, after_short=at_s - short_s < th.AFTER_SHORT_S)
        self._was_dead = is_dead
        if self.is_open and not is_dead:
            self.heat.closed()
            self._closed_s = at_s
            self._square = self._earlier_square = 0.0
            return self._alarms.clear(at_s, self._open, self._supply.name, at_once=True)
        return []

    def feed(
        self, at_s: float, total: float, squares: Callable[[], Floats], source: Callable[[], StepSource | None]
    ) -> list[RaisedWarning]:
        """Take one tick.

        Args:
            at_s: The tick's end.
            total: Amps of the whole supply; NaN where unknown.
            squares: Gives amps squared of the last ticks, for the lap's profile.
            source: Gives the step behind an overload.
        """
        self.heat.step(total)
        if math.isnan(total):
            return []
        self._earlier_square += FAST * (self._square - self._earlier_square)
        self._square += FAST * (total**2 - self._square)
        if self.is_open:
            return []
        amps = math.sqrt(self._square)
        self._time(at_s, amps)
        if self.would_be is not None:
            if self.would_be.follow(at_s, is_over=self.over_s > 0):
                self._forecast = _no_forecast
                return self._alarms.clear(at_s, self._trip, self._supply.name, at_once=True)
            if self.would_be.is_open:
                return []
        if not self.over_s and not self._hot_s:
            self._forecast = _no_forecast
            return self._alarms.clear(at_s, self._trip, self._supply.name)
        out = self._warn(at_s, amps, squares, source)
        if (
            self._asked.forecasts
            and round(at_s / TICK_S) % FORECAST_EVERY == 0
            and self._alarms.standing(*self._trip) is not None
        ):
            self.foreseen += [Foreseen(supply=self._supply.name, at_s=at_s, forecast=each) for each in [self.forecast] if each]
        return out

    def _opened(self, at_s: float, *, after_short: bool) -> list[RaisedWarning]:
        if not after_short and not (at_s - self._last_over_s < th.AFTER_OVER_S and self.heat.likely > th.OPENED_HEAT):
            return []
        self.heat.opened(at_s, by_heat=not after_short)
        self.over_s = self._hot_s = 0.0
        self._forecast = _no_forecast
        name = self._supply.name
        out = self._alarms.clear(at_s, self._trip, name, at_once=True)
        reset_in_s = self.heat.reset_in_s() if closes_by_itself(self._supply.protection) else None
        is_foreign = self.would_be is not None
        wording = (
            words.opened_in_recording(name) if is_foreign else words.opened(self._supply, reset_in_s, after_short=after_short)
        )
        return out + self._alarms.raise_(at_s, self._open, Priority.MEDIUM, wording, name)

    def _time(self, at_s: float, amps: float) -> None:
        hold = self.heat.quick_hold_amps
        if amps > th.OVER * hold:
            self._last_over_s, self._under_s = at_s, 0.0
            self.over_s += TICK_S
        elif amps < th.BACK * hold:
            self._under_s += TICK_S
        elif self.over_s:
            self.over_s += TICK_S
        if self._under_s >= th.BACK_S:
            self.over_s = 0.0
        is_hot = self.heat.likely > th.HOT and amps > th.HOT_AMPS * hold
        self._hot_s = self._hot_s + TICK_S if is_hot else 0.0

    def _warn(
        self, at_s: float, amps: float, squares: Callable[[], Floats], source: Callable[[], StepSource | None]
    ) -> list[RaisedWarning]:
        """High once the overload has lasted for its patience: start-up currents and short grades are over by then."""
        going = math.sqrt(max(0.0, self._square + min(0.0, 2.0 * (self._square - self._earlier_square))))
        near = going if going > self.heat.quick_hold_amps else 1.05 * going
        if self._alarms.standing(*self._trip) is not None:
            if round(at_s / TICK_S) % FORECAST_EVERY == 0:
                self._foresee_if_asked(near, squares())
            return []
        if not self._is_due(at_s, going):
            self._safe_lap = None
            self._foresee_if_asked(going, np.zeros(0))
            return []
        lately = squares()
        if self._goes_on_safely(at_s, lately):
            return []
        forecast = self._foresee(near, lately)
        if forecast is None:
            return []
        wording = words.trip_forecast(self._supply, amps, self.heat, forecast, source())
        return self._alarms.raise_(at_s, self._trip, Priority.HIGH, wording, self._supply.name)

    def _is_due(self, at_s: float, amps: float) -> bool:
        """Whether the overload has lasted for its patience."""
        if self._hot_s >= th.HOT_ON_S or self.over_s < th.PATIENCE_LEAST_S:
            return self._hot_s >= th.HOT_ON_S
        whole_s = self.heat.quick_in_s(amps) + self.over_s
        patience_s = th.PATIENCE_LEAST_S + th.PATIENCE_SHARE * whole_s
        if at_s - self._closed_s > th.RECLOSED_S:
            patience_s = max(patience_s, th.PATIENCE_LONG * whole_s - th.PATIENCE_AHEAD_S)
        return self.over_s >= patience_s

    def _goes_on_safely(self, at_s: float, squares: Floats) -> bool:
        """Laps by which it never opens are looked into once a second, and at once where the draw no longer keeps to them."""
        lap = self._safe_lap
        return lap is not None and round(at_s / TICK_S) % LAP_EVERY != 0 and keeps_to_lap(squares, lap)

    def _foresee(self, amps: float, squares: Floats) -> TripForecast | None:
        coming = ways(squares, amps, self.over_s)
        forecast = foresee(self.heat, amps, coming, self.over_s)
        lap = len(coming[0].lap)
        self._safe_lap = lap if lap > 1 and forecast is None else None
        self._forecast = lambda: forecast
        return forecast

    def _foresee_if_asked(self, amps: float, squares: Floats) -> None:
        """Forecast from how it stands now; worked out once, if asked for."""
        heat, over_s = copy.copy(self.heat), self.over_s
        self._forecast = functools.cache(lambda: foresee(heat, amps, ways(squares, amps, over_s), over_s))


def _no_forecast() -> None:
    """It would not open."""
