"""What a board's health packets tell against its readings."""

from monitor.metering import thresholds as th
from monitor.metering.board_supply import SupplyRecord, nominal_volts
from monitor.metering.metered import Trouble
from monitor.values import FindingKind, Health, ResetCause


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
