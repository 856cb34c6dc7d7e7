"""The heat of one supply's protection, tracked live: likely value, bounds, openings, forecasts."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.protection.curves import NEVER_S, Device
from monitor.protection.devices import Devices
from monitor.protection.laps import coming_squares, keeps_to_lap, lap_ticks
from monitor.protection.ticks import TICK_S
from monitor.values import TripForecast

Floats = NDArray[np.float64]
Course = tuple[Floats, Floats, Floats]
"""Start, kept and gained of a recurrence."""
START_HEAT_LIMIT = 0.6
RESET_HEAT = 0.7
"""Likely heat at which a thermal protection closes again; common practice, no published source. Learned once one was seen."""
GAP_AMPS_S = 5.0
LOOK_AHEAD_S = 240.0
LAP_SAFE_HEAT = 0.97
BEYOND_QUICK = 2.0
"""Where a typical one would hold and a quick one opens: likely this many times what a quick one takes, a judgement."""


@dataclass(slots=True)
class HeatTrack:
    """Heat of one protective device.

    Attributes:
        devices: Its models.
        likely: Best estimate, 1 where a typical one opens.
        lowest: The least that it may be.
        highest: The most that it may be.
        quick: Heat of a quick one, 1 where that one opens.
        opens_at: Likely heat at which this very one opens: 1, until openings were seen.
        open_since_s: Since when it is open; None while it is closed.
        reset_heat: Likely heat at which it closes again.
        safe_lap: The lap in ticks by which it never opens, as the last forecast found; None where it found no such lap.
    """

    devices: Devices
    likely: float = math.nan
    lowest: float = 0.0
    highest: float = 1.0
    quick: float = math.nan
    opens_at: float = 1.0
    open_since_s: float | None = None
    reset_heat: float = RESET_HEAT
    safe_lap: int | None = None
    _amps: float = 0.0
    _unknown_s: float = 0.0

    @property
    def device(self) -> Device:
        """The typical one."""
        return self.devices.likely

    def step(self, amps: float) -> None:
        """One tick at a draw; NaN where nothing is known."""
        if amps != amps:  # noqa: PLR0124 - NaN
            self._unknown_s += TICK_S
            known = self._amps if self._unknown_s <= GAP_AMPS_S else 0.0
            low, likely, high = 0.0, known, self._amps
        else:
            self._unknown_s, self._amps = 0.0, amps
            low = likely = high = amps
        if math.isnan(self.likely):
            # Nobody knows what went before: most probably much what is drawn now, for long.
            self.likely = min(START_HEAT_LIMIT, (likely / self.device.hold_amps) ** 2)
            self.quick = min(START_HEAT_LIMIT, (likely / self.devices.quick.hold_amps) ** 2)
        if self.open_since_s is not None:
            cooled = math.exp(-TICK_S / self.device.cooling_s)
            self.likely, self.lowest, self.highest = self.likely * cooled, self.lowest * cooled, self.highest * cooled
            self.quick *= cooled
            return
        self.likely = self.device.step(self.likely, likely, TICK_S)
        self.quick = min(self.devices.quick.step(self.quick, likely, TICK_S), max(1.0, self.opens_at))
        self.lowest = min(self.device.step(self.lowest, low, TICK_S), self.likely)
        # What has not opened yet cannot be far beyond the point where a slow one opens.
        self.highest = min(max(self.device.step(self.highest, high, TICK_S), self.likely), max(1.0, self.likely))

    @property
    def is_calm(self) -> bool:
        """Closed and below the heat of an opening: while no more is drawn than it holds, no bound of :meth:`step` matters."""
        held = not self.is_lost or self._amps <= self.device.hold_amps
        return held and self.open_since_s is None and self.highest <= 1.0 and self.likely <= 1.0

    @property
    def is_lost(self) -> bool:
        """For so long has nobody known what is drawn that most likely it is nothing."""
        return self._unknown_s > GAP_AMPS_S

    def course(self, amps: Floats) -> Course:
        """The recurrence of its heats over n draws that it holds, all unknown (NaN) while it is lost and all known while not.

        Shapes are those of :func:`followed`, m = 4.
        """
        likely = np.nan_to_num(amps)
        kept, gained = self.device.steps(likely, TICK_S)
        high_kept, high_gained = self.device.steps(np.full(amps.shape, self._amps), TICK_S) if self.is_lost else (kept, gained)
        quick_kept, quick_gained = self.devices.quick.steps(likely, TICK_S)
        start = np.array([self.likely, self.lowest, self.highest, self.quick])
        return (
            start,
            np.stack([kept, kept, high_kept, quick_kept], axis=1),
            np.stack([gained, gained, high_gained, quick_gained], axis=1),
        )

    def skip(self, amps: float, heats: Floats) -> None:
        """Take on where :meth:`course` led.

        Args:
            amps: The last draw.
            heats: Shape (4,): the heats after it.
        """
        self.likely, self.lowest, self.highest, self.quick = heats.tolist()
        if not self.is_lost:
            self._unknown_s, self._amps = 0.0, amps

    def opened(self, at_s: float, *, by_heat: bool) -> None:
        """It was seen to open; by heat (then this tells when this very one opens) or by a short."""
        if by_heat and 0.5 < self.likely < 2.0 and self.highest - self.lowest < 0.3:
            self.opens_at = self.likely
        elif not by_heat or self.likely < self.opens_at:
            self.likely = self.opens_at
        self.lowest, self.highest, self.quick = self.likely * 0.9, self.likely * 1.1, self.likely
        self.open_since_s = at_s

    def closed(self) -> None:
        """It was seen to close again."""
        if self.open_since_s is not None:
            self.reset_heat = min(0.95, max(0.05, self.likely / self.opens_at))
        self.open_since_s = None

    def reset_in_s(self) -> float:
        """Likely seconds until it closes again by itself."""
        level = self.reset_heat * self.opens_at
        return self.device.cooling_s * math.log(self.likely / level) if self.likely > level else 0.0

    def forecast(self, amps: float, squares: Floats) -> TripForecast | None:
        """When it would open; None where it would not.

        Args:
            amps: The present draw with its trend.
            squares: Shape (n,): amps squared of the last ticks, for the lap's profile.
        """
        in_s = self.device.opens_in_s(self.likely, amps, self.opens_at)
        quick_s = self.quick_opens_in_s(amps)
        if in_s == NEVER_S:
            in_s = BEYOND_QUICK * quick_s
        by_lap = False
        lap = lap_ticks(squares) if len(squares) else None
        if lap is not None and keeps_to_lap(squares, lap):
            in_s, by_lap = self._opens_by_lap_s(coming_squares(squares, lap)), True
        self.safe_lap = lap if by_lap and in_s == NEVER_S else None
        if in_s == NEVER_S:
            return None
        # Nobody may know what went before: the earliest is from the most heat that it may hold.
        earliest_s = min(in_s, quick_s, self.devices.quick.opens_in_s(self.highest, amps, self.opens_at))
        latest_s = self.devices.slow.opens_in_s(self.lowest, amps, self.opens_at)
        return TripForecast(
            in_s=in_s, earliest_s=earliest_s, latest_s=None if latest_s == NEVER_S else max(in_s, latest_s), by_lap=by_lap
        )

    def quick_opens_in_s(self, amps: float) -> float:
        """Seconds that a quick one still takes at a steady draw; infinite where even that one holds."""
        return self.devices.quick.opens_in_s(self.quick, amps, self.opens_at)

    def _opens_by_lap_s(self, lap: Floats) -> float:
        """Seconds until it opens if a lap comes again and again; never where it does not within the look ahead.

        Args:
            lap: Shape (n,): amps squared of the lap's ticks.
        """
        kept, gained = self.device.steps(np.sqrt(lap), TICK_S)
        # Heat within a lap, from the heat at its start: kept_so_far * start + gained_so_far.
        kept_so_far, gained_so_far = np.cumprod(kept), np.zeros(len(lap))
        heat = 0.0
        for tick, (share, more) in enumerate(zip(kept.tolist(), gained.tolist(), strict=True)):
            gained_so_far[tick] = heat = share * heat + more
        ticks = round(LOOK_AHEAD_S / TICK_S)
        starts = [self.likely]
        while len(starts) * len(lap) < ticks:
            starts.append(float(kept_so_far[-1]) * starts[-1] + heat)
        heats = (kept_so_far * np.array(starts)[:, None] + gained_so_far).ravel()[:ticks]
        hot = heats >= LAP_SAFE_HEAT * self.opens_at
        return (int(np.argmax(hot)) + 1) * TICK_S if hot.any() else NEVER_S
