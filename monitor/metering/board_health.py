"""What a board's health packets tell against its readings."""

from monitor.metering.board_supply import SupplyRecord, nominal_volts
from monitor.metering.metered import Trouble
from monitor.values import FindingKind, Health, ResetCause

LOW_SHARE = 0.92
"""Below this share of its nominal supply a board's converter is no longer to be trusted: 4.6 V of 5 V (USB allows 4.75 V at the plug,
USB 2.0 section 7.2.2, from memory; a hobby board's own diode or fuse takes some more)."""
FIRST_HEALTH_S = 1.5
"""The reset cause stays in every packet until the next start; only the first one after a start speaks of it."""


WANDER_SHARE = 0.02
"""A supply that moves by more than this takes uncorrected figures further than a calibration left open (1.96 times 0.8 %)."""


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
        """What one packet tells.

        Args:
            health: The packet.
            at_s: Board time at which it came.
        """
        troubles = []
        if ResetCause.BROWN_OUT in health.reset_causes and health.uptime_s < FIRST_HEALTH_S:
            troubles.append(_trouble(FindingKind.BROWN_OUT, at_s, 1))
        if health.supply_volts is not None:
            self._highest_volts = max(self._highest_volts, health.supply_volts)
            if health.supply_volts < LOW_SHARE * nominal_volts(self._highest_volts):
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
        return not self._is_corrected and abs(mean / self._reference_volts - 1) > WANDER_SHARE


def _trouble(kind: FindingKind, at_s: float, count: int) -> Trouble:
    return Trouble(kind=kind, channel=None, start_s=at_s, end_s=at_s, count=count)
