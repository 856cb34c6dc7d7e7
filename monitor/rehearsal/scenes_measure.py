"""What a drawn bench really draws, by running its slow state for a while: scenes size their overloads by it."""

from dataclasses import dataclass, replace

import numpy as np

from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_lamp import NOMINAL_VOLTS
from monitor.rehearsal.model_slow import SlowBench
from monitor.rehearsal.model_specs import BenchSpec

_TICKS = 240


@dataclass(frozen=True, slots=True)
class Running:
    """Means over some laps.

    Attributes:
        amps: Of each supply.
        volt_amperes: Of each supply.
        volts: At the loads of each district.
    """

    amps: list[float]
    volt_amperes: list[float]
    volts: list[float]


class _Means:
    def __init__(self, slow: SlowBench) -> None:
        self._slow = slow
        self.amps: list[list[float]] = []
        self.volt_amperes: list[list[float]] = []
        self.volts: list[list[float]] = []

    def after_tick(self, tick_scan: int, steps: list[float]) -> None:
        """Take one tick."""
        del tick_scan, steps
        self.amps.append(list(self._slow.amps))
        self.volt_amperes.append(list(self._slow.volt_amperes))
        self.volts.append(list(self._slow.volts))


def running(bench: BenchSpec, seconds: float = 24.0) -> Running:
    """Run a bench with its protection bridged."""
    bridged = replace(
        bench,
        supplies=tuple(replace(supply, breaker=replace(supply.breaker, kind="none")) for supply in bench.supplies),
    )
    slow = SlowBench(bridged)
    means = _Means(slow)
    rng = np.random.default_rng(0)
    blocks = max(round(seconds / (_TICKS * SCANS_PER_TICK * bench.converter.scan_interval_s)), 2)
    for block in range(blocks):
        frame = Frame(block * _TICKS * SCANS_PER_TICK, _TICKS, len(bench.districts), len(bench.trains))
        levels = np.repeat([[district.level] for district in bench.districts], frame.scans, axis=1)
        slow.run(frame, levels, means, rng)
    settled = slice(_TICKS, None)
    amps, volt_amperes, volts = (
        np.mean(rows[settled], axis=0).tolist() for rows in (means.amps, means.volt_amperes, means.volts)
    )
    return Running(amps, volt_amperes, volts)


def load_for(bench: BenchSpec, now: Running, district: int, more_amps: float) -> float:
    """Amps at nominal volts of a load that adds so many amps in a district, the sag of its supply reckoned with."""
    supply = bench.supplies[bench.districts[district].supply]
    ohms = supply.source_ohms + bench.districts[district].own_ohms + bench.districts[district].feeder_ohms
    volts = max(now.volts[district] - ohms * more_amps, 0.3 * now.volts[district], 1.0)
    return more_amps * NOMINAL_VOLTS / volts


def load_for_va(bench: BenchSpec, district: int, volt_amperes: float) -> float:
    """Amps at nominal volts of a load in a district that brings its supply to so many volt-amperes in all."""
    supply = bench.districts[district].supply
    amps, now = 0.0, running(bench, 8.0)
    for _ in range(3):
        missing = volt_amperes - now.volt_amperes[supply]
        amps = max(amps + load_for(bench, now, district, missing / max(now.volts[district], 1.0)), 0.0)
        loaded = replace(bench.districts[district], steady_amps=bench.districts[district].steady_amps + amps)
        districts = tuple(loaded if n == district else other for n, other in enumerate(bench.districts))
        now = running(replace(bench, districts=districts), 8.0)
    return amps
