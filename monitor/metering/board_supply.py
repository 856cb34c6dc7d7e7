"""A board's own supply: what the scale of its converter hangs on, as its health packets tell."""

from dataclasses import replace

import numpy as np

from monitor.layout import Layout
from monitor.metering import thresholds as th
from monitor.metering.channels import ChannelTable
from monitor.metering.half_cycles import HalfCycles
from monitor.metering.metered import Trouble
from monitor.values import FindingKind, Health, ResetCause
from monitor.values.arrays import Floats

_SENSORS_FOLLOW = {"fixed": 1.0, "ratiometric": 0.0, None: np.nan}


def nominal_volts(volts: float) -> float:
    """The nominal supply nearest to a measured one."""
    return min(th.NOMINAL_VOLTS, key=lambda nominal: abs(nominal - volts))


class SupplyRecord:
    """What a board said of its supply, over board time."""

    def __init__(self) -> None:
        self._times_s: list[float] = []
        self._volts: list[float] = [np.nan]
        self._latest: list[float] = []

    def note(self, at_s: float, volts: float) -> float:
        """A health packet at this board time; what the supply then counts as."""
        self._latest = [*self._latest[1 - th.AVERAGED :], volts]
        self._times_s.append(at_s)
        self._volts.append(sum(self._latest) / len(self._latest))
        return self._volts[-1]

    def at(self, times_s: Floats) -> Floats:
        """The supply at each time, as last said before it; NaN before anything was."""
        return np.array(self._volts)[np.searchsorted(self._times_s, times_s, side="right")]

    def forget(self, before_s: float) -> None:
        """No earlier time will be asked for."""
        gone = max(0, int(np.searchsorted(self._times_s, before_s, side="right")) - 1)
        del self._times_s[:gone], self._volts[:gone]


def supply_at_calibration(layout: Layout, board: str) -> tuple[float | None, bool]:
    """What the board's supply was when it was calibrated, and whether all its figures can be corrected for it."""
    channels = [k for d in layout.districts_of_board(board) for k in (d.volts_channel, d.amps_channel)]
    kept = [layout.channel_calibration(board, k).supply_volts for k in channels]
    sensors = next((each.current_sensors for each in layout.board if each.name == board), None)
    return next((volts for volts in kept if volts is not None), None), all(kept) and sensors is not None


class BoardSupply:
    """Corrects a board's figures for its supply where the layout file keeps what that was at calibration, and says what stays open.

    A converter that takes the supply as its reference shows less where that has risen. So the scale of a divider follows the supply,
    and that of a current sensor where its own is fixed; a ratiometric sensor follows the same supply, and nothing is to be corrected.
    """

    def __init__(self, layout: Layout, board: str, table: ChannelTable, record: SupplyRecord) -> None:
        self._record = record
        sensors = next((each.current_sensors for each in layout.board if each.name == board), None)
        at_calibration = [layout.channel_calibration(board, k).supply_volts or np.nan for k in range(table.count)]
        references = np.array([*at_calibration, np.nan])
        self._references = references[np.stack([table.volts, table.amps, table.far])]
        follows = np.array([1.0, _SENSORS_FOLLOW[sensors], 1.0])[:, None]
        self._corrected = np.isfinite(self._references) & (follows == 1)
        self._settled = self._corrected | (follows == 0)

    def corrected(self, halves: HalfCycles) -> HalfCycles:
        """Half cycles as they would have been at the supply of the calibration."""
        if not self._corrected.any():
            return halves
        volts = self._record.at(halves.end_s)[:, None]
        one, other, far = (
            np.where(corrected & np.isfinite(volts), volts / reference, 1.0)
            for corrected, reference in zip(self._corrected, self._references, strict=True)
        )
        means = halves.means * np.stack([one, other, one**2, other**2, far**2, one * other])
        return replace(halves, means=means, peaks=halves.peaks * np.stack([one, other, one, other]))

    def open_shares(self, times_s: Floats) -> Floats:
        """By how much the scales of volts and amps may be off for a supply that is not what it was, or should be.

        Returns:
            Shares, shape (2, n, d); NaN where the board did not say what its supply is.
        """
        volts = self._record.at(times_s)[:, None]
        known = volts[np.isfinite(volts)]
        nominal = nominal_volts(float(known[-1])) if len(known) else np.nan
        references = np.where(np.isfinite(self._references), self._references, nominal)[:2, None]
        off = np.abs(volts / references - 1)
        # A supply that was not told leaves a corrected figure as open as any other.
        return np.where(self._settled[:2, None] & (np.isfinite(off) | ~self._corrected[:2, None]), 0.0, off)


class BoardHealth:
    """Judges the health packets of one board, in order.

    Args:
        reference_volts: The board's supply when it was calibrated; None takes what the first packets say.
        is_corrected: Whether all its figures are corrected for its supply, so that it may wander.
    """

    def __init__(self, reference_volts: float | None = None, *, is_corrected: bool = False) -> None:
        self._reference_volts = reference_volts
        self._is_corrected = is_corrected
        self._record = SupplyRecord()
        self._highest_volts = 0.0
        self._dropped: int | None = None

    def judge(self, health: Health, at_s: float) -> list[Trouble]:
        """What one packet tells."""
        troubles = []
        if ResetCause.BROWN_OUT in health.reset_causes and health.uptime_s < th.FIRST_HEALTH_S:
            troubles.append(_trouble(FindingKind.BROWN_OUT, at_s, 1))
        if health.supply_volts is not None:
            self._highest_volts = max(self._highest_volts, health.supply_volts)
            if health.supply_volts < th.LOW_SHARE * nominal_volts(self._highest_volts):
                troubles.append(_trouble(FindingKind.SUPPLY_LOW, at_s, 1))
            elif self._wanders(health.supply_volts, at_s):
                troubles.append(_trouble(FindingKind.SUPPLY_WANDERS, at_s, 1))
        if self._dropped is not None and health.scans_dropped > self._dropped:
            troubles.append(_trouble(FindingKind.DROPPED_SCANS, at_s, health.scans_dropped - self._dropped))
        self._dropped = health.scans_dropped
        return troubles

    def _wanders(self, volts: float, at_s: float) -> bool:
        mean = self._record.note(at_s, volts)
        self._record.forget(at_s)
        if self._reference_volts is None:
            self._reference_volts = mean
        return not self._is_corrected and abs(mean / self._reference_volts - 1) > th.WANDER_SHARE


def _trouble(kind: FindingKind, at_s: float, count: int) -> Trouble:
    return Trouble(kind=kind, channel=None, start_s=at_s, end_s=at_s, count=count)
