"""The heat of one supply's protection, tracked live: of a typical device, of the bounds, and of a sample of all that it may be."""

import math

import numpy as np

from monitor.protection import thresholds as th
from monitor.protection.devices import FIRST, HIGHEST, LOWEST, QUICKER, TYPICAL, Devices
from monitor.protection.ticks import TICK_S
from monitor.values.arrays import Floats

STRIDE = 0.6180339887498949
"""Fractional parts of its multiples fill a line evenly."""


class HeatTrack:
    """Heat of one protective device; each device that it may be has a heat of its own and opens at 1.

    Attributes:
        devices: Its models, m of them.
        typical: The first of them.
        heats: Shape (m,).
        scale: Shape (m,): heat of the model at which this very device opens, 1 until openings were seen.
        belief: Shape (m,): how likely each device of the sample is by the openings that were seen.
        is_possible: Shape (m,): devices that would not have opened yet.
        open_since_s: Since when it is open; None while it is closed.
        reset_heat: Likely heat at which it closes again.
        is_held_open: A typical one would be open while what was recorded goes on: it cools.
        is_replaced: A fuse: once opened, the next is another device, and cold.
        is_foreign: What opens in the stream is another device than this: nothing of it is learnt, and nothing refuted.
    """

    def __init__(self, devices: Devices, *, is_foreign: bool = False, is_replaced: bool = False) -> None:
        count = len(devices.hold_amps)
        numbers = np.arange(count) - FIRST
        self.devices, self.is_foreign, self.is_replaced = devices, is_foreign, is_replaced
        self.typical = devices.only(TYPICAL)
        self.heats, self.scale = np.full(count, np.nan), np.ones(count)
        self.belief = (numbers >= 0).astype(float)
        self.is_possible = np.ones(count, dtype=bool)
        self.open_since_s: float | None = None
        self.reset_heat: float = th.RESET_HEAT
        self.is_held_open = False
        self._even = numbers * STRIDE % 1.0
        self._openings = 0
        self._draws_on = np.where(numbers < 0, np.arange(count) == HIGHEST, numbers % 2 == 1)
        self._amps, self._unknown_s = 0.0, 0.0

    @property
    def likely(self) -> float:
        """Best estimate."""
        return float(self.heats[TYPICAL])

    @property
    def lowest(self) -> float:
        """The least that a typical one may hold."""
        return float(self.heats[LOWEST])

    @property
    def highest(self) -> float:
        """The most that a typical one may hold."""
        return float(self.heats[HIGHEST])

    @property
    def has_learnt(self) -> bool:
        """An opening of this very device was seen."""
        return self._openings > 0

    @property
    def hold_amps(self) -> float:
        """What a typical one holds."""
        return float(self.devices.hold_amps[TYPICAL])

    @property
    def quick_hold_amps(self) -> float:
        """What a quick one holds."""
        return float(self.devices.hold_amps[QUICKER] * math.sqrt(min(1.0, self.scale[QUICKER])))

    def step(self, amps: float) -> None:
        """One tick at a draw; NaN where nothing is known."""
        if math.isnan(amps):
            self._unknown_s += TICK_S
        else:
            self._unknown_s, self._amps = 0.0, amps
        if math.isnan(self.likely):
            self._begin(self._amps)
        if self.open_since_s is not None:
            self.heats = self.heats * self.devices.recovered
            return
        kept, gained = self.steps(np.array([amps]))
        heats = kept[0] * self.heats + gained[0]
        if self.is_held_open:
            heats[:FIRST] = (self.heats * self.devices.recovered)[:FIRST]
        likely = heats[TYPICAL]
        heats[LOWEST] = min(heats[LOWEST], likely)
        # What has not opened yet cannot be far beyond the point where a slow one opens.
        heats[HIGHEST] = min(max(heats[HIGHEST], likely), max(1.0, likely))
        heats[QUICKER] = min(heats[QUICKER], 1.0)
        self.heats = heats
        self._refute(heats)

    def steps(self, amps: Floats) -> tuple[Floats, Floats]:
        """What n draws do to its heats, as :meth:`Devices.steps`; all known, or all unknown (NaN)."""
        if not np.isnan(amps[0]):
            return self.devices.steps(amps, self.scale)
        draws_on = self._draws_on if self.is_lost else np.arange(len(self.heats)) != LOWEST
        last, none = np.full(len(amps), self._amps), np.zeros(len(amps))
        (kept_on, gained_on), (kept_off, gained_off) = (self.devices.steps(each, self.scale) for each in (last, none))
        return np.where(draws_on, kept_on, kept_off), np.where(draws_on, gained_on, gained_off)

    @property
    def is_quiet(self) -> bool:
        """Closed and below the heat of an opening: while no more is drawn than it holds, no bound of :meth:`step` matters."""
        held = not self.is_lost or self._amps <= self.hold_amps
        return held and self.open_since_s is None and self.highest <= 1.0 and self.likely <= 1.0

    @property
    def is_lost(self) -> bool:
        """It has not been known for so long what is drawn that most likely it is nothing."""
        return self._unknown_s > th.GAP_AMPS_S

    def skip(self, amps: float, heats: Floats) -> None:
        """Take on where :meth:`steps` led.

        Args:
            amps: The last draw.
            heats: Shape (n, m): the heats after each tick.
        """
        self.heats = heats[-1].copy()
        self._refute(heats.max(axis=0))
        if not self.is_lost:
            self._unknown_s, self._amps = 0.0, amps

    def opened(self, at_s: float, *, by_heat: bool) -> None:
        """It was seen to open; by heat (then this tells when this very one opens) or by a short."""
        self.open_since_s = at_s
        if self.is_foreign:
            return
        if (
            by_heat
            and not self.is_replaced
            and th.LEARN_ABOVE < self.likely < th.LEARN_BELOW
            and self.highest - self.lowest < th.LEARN_SPAN
        ):
            self._learn()
        # A short may open it by its heat, or at once by another part of it.
        rest = self.heats if not by_heat else np.ones(len(self.heats))
        self.heats = np.maximum(np.minimum(rest, 1.0), self._even)
        if by_heat:
            self.heats = np.ones(len(self.heats))
        self.heats[[TYPICAL, LOWEST, HIGHEST, QUICKER]] = 1.0, 0.9, 1.1, 1.0
        self.is_possible = np.ones(len(self.heats), dtype=bool)

    def closed(self) -> None:
        """It was seen to close again."""
        if self.open_since_s is not None and not self.is_foreign:
            self.reset_heat = min(0.95, max(0.05, self.likely))
            if self.is_replaced:
                self.heats = np.zeros(len(self.heats))
        self.open_since_s = None

    def reset_in_s(self) -> float:
        """Likely seconds until it closes again by itself."""
        cooling_s = float(self.devices.cooling_s[TYPICAL])
        return cooling_s * math.log(self.likely / self.reset_heat) if self.likely > self.reset_heat else 0.0

    def open_in_s(self, amps: float) -> Floats:
        """Seconds that each device still takes at a steady draw, shape (m,); infinite where one holds."""
        return self.devices.open_in_s(self.heats, amps, self.scale)

    def quick_in_s(self, amps: float) -> float:
        """Seconds that a quick one of those it may be takes at a steady draw: the quick one of the data sheet, or one in ten."""
        times = self.open_in_s(amps)
        order = np.argsort(times)
        weights = np.cumsum((self.belief * self.is_possible)[order])
        soon = float(times[order][np.searchsorted(weights, th.QUICK_SHARE * weights[-1])]) if weights[-1] > 0 else math.inf
        return min(float(times[QUICKER]), soon)

    def _begin(self, amps: float) -> None:
        """What went before is not known: most probably much what is drawn now, for long."""
        steady = (amps / self.devices.hold_amps) ** 2
        self.heats = np.minimum(th.START_HEAT_LIMIT, np.where(self.belief > 0, th.START_SPREAD * self._even, 1.0) * steady)
        self.heats[[LOWEST, HIGHEST]] = 0.0, 1.0

    def _refute(self, heats: Floats) -> None:
        """Devices that would have opened by now are not the one that is there."""
        if not self.is_foreign:
            self.is_possible = self.is_possible & (heats < th.REFUTED)

    def _learn(self) -> None:
        """Each device of the sample is set to open where this one opened; the further it was from that, the less it counts."""
        heats = np.where(np.arange(len(self.heats)) < FIRST, self.likely, np.clip(self.heats, 0.2, 5.0))
        scatter = th.NEXT_SCATTER if self._openings else th.FIRST_SCATTER
        belief = self.belief * np.exp(-0.5 * (np.log(heats) / scatter) ** 2)
        self.belief = belief / belief.max() if belief.max() > 0 else self.belief
        self._openings += 1
        repeat = 2.0 * ((self._even + self._openings * STRIDE**2) % 1.0) - 1.0
        repeat[:FIRST] = 0.0
        self.scale = self.scale * heats * np.exp(th.REPEAT_SCATTER * repeat)
