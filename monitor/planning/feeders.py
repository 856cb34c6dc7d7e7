"""Volts that a feeder loses, and the wire that would do."""

from dataclasses import dataclass

from monitor.layout import Feeder
from monitor.layout.conductors import area_mm2, awg_area_mm2, loop_ohms, ohms_per_m

GAUGES_TO_BUY = tuple(range(24, 8, -2))


@dataclass(frozen=True, slots=True, kw_only=True)
class FeederVolts:
    """What is lost on the way to a district at worst.

    Attributes:
        lost_volts: At worst-case amps, out and back.
        return_volts: The part of it lost in a return shared with others; 0 where the return is the feeder's own.
        arriving_volts: Of the supply's highest volts.
        lost_share: Share of the highest volts.
        better_awg: Thinnest listed gauge of the feeder that keeps the loss under the chosen limit; None where the present wire does
            or none would.
    """

    lost_volts: float
    return_volts: float
    arriving_volts: float
    lost_share: float
    better_awg: int | None

    @property
    def words(self) -> str:
        """The loss in words."""
        shared = f", {self.return_volts:.1f} V of it in the shared return" if abs(self.return_volts) >= 0.05 else ""
        words = f"loses {self.lost_volts:.1f} V ({self.lost_share:.0%}) on the way at worst{shared}; {self.arriving_volts:.1f} V arrive"
        return words if self.better_awg is None else f"{words}; {self.better_awg} AWG would bring that under the chosen loss"


def feeder_volts(
    feeder: Feeder | None,
    supply_volts: float,
    amps: float,
    *,
    drop_share: float,
    celsius: float,
    return_volts: float | None = None,
) -> FeederVolts:
    """Volts lost and arriving at the far end (Ohm's law; the load taken as constant current).

    Args:
        feeder: The wire; None where only a shared return counts.
        supply_volts: Highest volts of the supply.
        amps: Worst case.
        drop_share: Chosen limit of the loss, share of the highest volts.
        celsius: Temperature of the copper.
        return_volts: Lost in a return shared with others; None where the feeder has its own way back.
    """
    back = return_volts or 0.0
    ways = 2 if return_volts is None else 1
    out = 0.0 if feeder is None else amps * loop_ohms(feeder, celsius) * ways / 2
    lost, better = out + back, None
    if feeder is not None and amps > 0 and lost > drop_share * supply_volts:
        most_ohms = (drop_share * supply_volts - back) / amps
        thicker = (awg for awg in GAUGES_TO_BUY if awg_area_mm2(awg) > area_mm2(feeder))
        better = next(
            (awg for awg in thicker if ways * feeder.one_way_m * ohms_per_m(awg_area_mm2(awg), celsius) <= most_ohms), None
        )
    return FeederVolts(
        lost_volts=lost,
        return_volts=back,
        arriving_volts=supply_volts - lost,
        lost_share=lost / supply_volts,
        better_awg=better,
    )
