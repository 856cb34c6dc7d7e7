"""Volts that are lost on the way to a district, and the wire that would do."""

from dataclasses import dataclass

from monitor.layout import Feeder
from monitor.layout.ratings import area_mm2, awg_area_mm2, loop_ohms, ohms_per_m
from monitor.planning.plan_file import TrackLoss

GAUGES_TO_BUY = tuple(range(24, 8, -2))


@dataclass(frozen=True, slots=True, kw_only=True)
class ConductorRun:
    """What is known of the way from an output to the far end of a district and back.

    Attributes:
        feeder: The wire; None where it is not known.
        track: What rails and joints add, or the whole loop as measured; None where nobody gave it.
        return_volts: Lost in a return shared with others, of a measured loop what the others' current makes in it; None where the
            feeder has its own way back.
    """

    feeder: Feeder | None = None
    track: TrackLoss | None = None
    return_volts: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeederVolts:
    """What is lost on the way to a district at worst.

    Attributes:
        lost_volts: At worst-case amps, out and back.
        return_volts: The part of it lost in a return shared with others; 0 where the return is the feeder's own.
        arriving_volts: Of the output's highest volts.
        lost_share: Share of the highest volts.
        has_track: Rails and joints are counted.
        better_awg: Thinnest listed gauge of the feeder that keeps the loss under the chosen limit; None where the present wire does
            or none would.
    """

    lost_volts: float
    return_volts: float
    arriving_volts: float
    lost_share: float
    has_track: bool
    better_awg: int | None

    @property
    def words(self) -> str:
        """The loss in words."""
        shared = f", {self.return_volts:.1f} V of it in the shared return" if abs(self.return_volts) >= 0.05 else ""
        words = f"loses {self.lost_volts:.1f} V ({self.lost_share:.0%}) on the way at worst{shared}; {self.arriving_volts:.1f} V arrive"
        if not self.has_track:
            words += " where the wires end: rails and joints are not known and not counted, and often lose more"
        return words if self.better_awg is None else f"{words}; {self.better_awg} AWG would bring that under the chosen loss"


def feeder_volts(way: ConductorRun, supply_volts: float, amps: float, *, drop_share: float, celsius: float) -> FeederVolts:
    """Volts lost and arriving at the far end (Ohm's law; the load taken as constant current).

    Args:
        way: What is known of the way.
        supply_volts: Highest volts of the output.
        amps: Worst case.
        drop_share: Chosen limit of the loss, share of the highest volts.
        celsius: Temperature of the copper.
    """
    ways = 2 if way.return_volts is None else 1
    wire_ohms = 0.0 if way.feeder is None else loop_ohms(way.feeder, celsius) * ways / 2
    measured = way.track.loop_ohms if way.track is not None else None
    ohms = measured if measured is not None else wire_ohms + (way.track.ohms if way.track is not None else 0.0)
    back = way.return_volts or 0.0
    lost, better = amps * ohms + back, None
    if way.feeder is not None and amps > 0 and lost > drop_share * supply_volts:
        most_ohms = (drop_share * supply_volts - back) / amps - max(0.0, ohms - wire_ohms)
        better = _better_awg(way.feeder, most_ohms / (ways * way.feeder.one_way_m), celsius)
    return FeederVolts(
        lost_volts=lost,
        return_volts=back,
        arriving_volts=supply_volts - lost,
        lost_share=lost / supply_volts,
        has_track=way.track is not None,
        better_awg=better,
    )


def _better_awg(feeder: Feeder, most_ohms_per_m: float, celsius: float) -> int | None:
    thicker = (awg for awg in GAUGES_TO_BUY if awg_area_mm2(awg) > area_mm2(feeder))
    return next((awg for awg in thicker if ohms_per_m(awg_area_mm2(awg), celsius) <= most_ohms_per_m), None)
