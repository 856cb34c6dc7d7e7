"""The Fernhollow show layout as it runs in the demo: two supplies, four districts, and within two minutes one of each trouble."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from monitor.rehearsal.board import EndlessShow
from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import Act, Binding, DirectionBreak, FeedLost, MainsDip, Short, StepLoad, Throttle, Transfer
from monitor.rehearsal.model_specs import (
    BenchSpec,
    BreakerSpec,
    ConverterSpec,
    DistrictSpec,
    Grade,
    ModelSpot,
    SupplySpec,
    TrainSpec,
)
from monitor.rehearsal.scene import layout_text
from monitor.rehearsal.scenes_acts import breaks, whistle
from monitor.rehearsal.stream import LineStyle

OUTER, INNER, QUARRY, TOWN = range(4)
EXPRESS, LOCAL, ORE, FREIGHT = range(4)
_FREIGHT_STAYS_S = 75.0
CALM_S, PATIENCE_S = 2.0, 60.0
"""The quiet before the first round comes in pieces of so many seconds, and goes on for so long where no one looks."""


def fernhollow_show(
    board: int = 0, seed: int = 7, lines: LineStyle | None = None, may_begin: Callable[[], bool] = lambda: True
) -> EndlessShow:
    """The demo, without end.

    Args:
        board: 0 for the layout itself; higher numbers give further boards of the same kind, for pages with many districts.
        seed: What everything but the first round is drawn from.
        lines: How the board writes lines of readings; None for one that sends waveforms.
        may_begin: Whether trouble may come: until then, and for PATIENCE_S at most, trains run and nothing else happens.
    """
    return EndlessShow(fernhollow_bench(board), _Rounds(may_begin), _People(), seed + 101 * board, lines)


def demo_layout_text(ports: str | Sequence[str]) -> str:
    """The demo's layout file for a board on that port, or for as many boards as there are ports."""
    chosen = [ports] if isinstance(ports, str) else list(ports)
    return layout_text([fernhollow_bench(n) for n in range(len(chosen))], chosen, is_checked=True)


def fernhollow_bench(board: int = 0) -> BenchSpec:
    """What stands on the bench."""
    mark = f" {board + 1}" if board else ""
    return BenchSpec(
        title="Fernhollow show layout",
        board_name=f"bench-{board + 1}",
        board_number=board,
        supplies=_supplies(mark),
        districts=_districts(mark),
        trains=_trains(mark),
        spots=(ModelSpot(district=INNER, place=0.62, chance=0.8, seconds=(0.12, 0.34)),),
        converter=ConverterSpec(clock_error=0.001 * (board % 5 - 2), noise_counts=0.6),
        lap_hints=True,
    )


def _supplies(mark: str) -> tuple[SupplySpec, ...]:
    north = BreakerSpec(kind="thermal", rated_amps=8.0, hold_ratio=1.1, tau_s=42.0, spread=0.94, reset_heat=0.68, cool_ratio=0.8)
    south = BreakerSpec(
        kind="thermal", rated_amps=4.5, hold_ratio=1.12, tau_s=30.0, spread=1.1, reset_heat=0.3, instant_ratio=3.0, delay_s=0.06
    )
    return (
        SupplySpec(
            name=f"North bench{mark}", current="ac", volts_open=19.2, source_ohms=0.16, rated_va=144, max_volts=18.0, breaker=north,
            harmonics=(0.02, -0.01),
        ),
        SupplySpec(
            name=f"South bench{mark}", current="ac", volts_open=17.4, source_ohms=0.3, rated_va=72, max_volts=16.0, breaker=south,
            harmonics=(0.015, -0.02),
        ),
    )  # fmt: skip


def _districts(mark: str) -> tuple[DistrictSpec, ...]:
    return (
        DistrictSpec(name=f"Outer main{mark}", supply=0, output="A", level=0.83, steady_amps=0.1, feeder=(16, 3.0), feeder_ohms=0.079),
        DistrictSpec(name=f"Inner main{mark}", supply=0, output="B", level=0.78, lamp_amps=0.1),
        DistrictSpec(name=f"Quarry branch{mark}", supply=1, output="A", level=0.8, steady_amps=0.05),
        DistrictSpec(
            name=f"Town lights{mark}", supply=1, output="B", level=0.84, constant=True, use="accessories", lamp_amps=0.9,
            steady_amps=0.15,
        ),
    )  # fmt: skip


def _trains(mark: str) -> tuple[TrainSpec, ...]:
    hills = (Grade(place=0.3, width=0.2, load=0.45), Grade(place=0.8, width=0.15, load=-0.25))
    slope = (Grade(place=0.15, width=0.25, load=0.6),)
    return (
        TrainSpec(name=f"Express{mark}", district=OUTER, run_amps=1.9, run_volts=14.0, lap_s=16.0, grades=hills, car_amps=0.9),
        TrainSpec(
            name=f"Local{mark}", district=INNER, run_amps=1.4, run_volts=13.0, lap_s=12.5, grades=slope, car_amps=0.5, dirt_rate=0.05
        ),
        TrainSpec(name=f"Ore train{mark}", district=QUARRY, run_amps=1.5, run_volts=12.0, lap_s=22.0, grades=slope, car_amps=0.1),
        TrainSpec(
            name=f"Heavy freight{mark}", district=-1, run_amps=5.6, run_volts=14.0, lap_s=19.0, grades=hills[:1], car_amps=0.4,
            inertia_s=1.4,
        ),
    )  # fmt: skip


class _People:
    """Who stands by: drives the freight off when its supply has opened, and puts derailed cars back."""

    def __init__(self) -> None:
        self._seen_trip = -1

    def __call__(self, bench: Bench) -> list[Act]:
        trips = [trip for trip in bench.truth.trips if trip.supply == 0 and trip.trip_scan > self._seen_trip]
        if not trips:
            return []
        self._seen_trip = trips[-1].trip_scan
        after_s = self._seen_trip * bench.interval_s + 3.0
        return [Transfer(at_s=after_s, seconds=0.5, train=FREIGHT, district=-1)]


class _Rounds:
    """Rounds of the show, after a quiet time that lasts until somebody looks."""

    def __init__(self, may_begin: Callable[[], bool]) -> None:
        self._may_begin = may_begin
        self._quiet: int | None = None

    def __call__(self, rng: np.random.Generator, number: int) -> tuple[list[Act], float]:
        if self._quiet is None:
            if number * CALM_S < PATIENCE_S and not self._may_begin():
                return [], CALM_S
            self._quiet = number
        return _write_round(rng, number - self._quiet)


def _write_round(rng: np.random.Generator, number: int) -> tuple[list[Act], float]:
    """Acts of one round and its length; the first is always the same, so that a visitor need not wait."""
    if number == 0:
        return _first_round(rng), 122.0
    acts: list[Act] = []
    at = rng.uniform(4, 9)
    for trouble in rng.permutation(["overload", "short", "quiet", "odd"]):
        acts += _quiet(rng, at)
        at += 14.0
        made, lasts = _trouble(rng, str(trouble), at)
        acts += made
        at += lasts + rng.uniform(4, 12)
    return acts, at


def _first_round(rng: np.random.Generator) -> list[Act]:
    return [
        whistle(rng, OUTER, 6.0),
        *breaks(rng, QUARRY, 13.0),
        Transfer(at_s=30.0, seconds=1.5, train=FREIGHT, district=OUTER, overload=True),
        Transfer(at_s=30.0 + _FREIGHT_STAYS_S, seconds=1.5, train=FREIGHT, district=-1),
        Short(at_s=97.0, seconds=2.5, district=QUARRY, ohms=0.12, chatter=0.2),
        whistle(rng, INNER, 112.0),
    ]


def _quiet(rng: np.random.Generator, at_s: float) -> list[Act]:
    level = rng.uniform(0.68, 0.8)
    return [
        whistle(rng, int(rng.choice([OUTER, INNER])), at_s),
        DirectionBreak(at_s=at_s + 5.0, seconds=rng.uniform(0.3, 1.2), district=QUARRY),
        Throttle(at_s=at_s + 8.0, seconds=rng.uniform(0.6, 2.5), district=INNER, level=level),
    ]


def _trouble(rng: np.random.Generator, kind: str, at_s: float) -> tuple[list[Act], float]:
    if kind == "overload":
        arrive = Transfer(at_s=at_s, seconds=1.5, train=FREIGHT, district=int(rng.choice([OUTER, INNER])), overload=True)
        return [arrive, replace(arrive, at_s=at_s + _FREIGHT_STAYS_S, district=-1, overload=False)], _FREIGHT_STAYS_S + 15
    if kind == "short":
        where = int(rng.choice([QUARRY, QUARRY, INNER]))
        lasts = rng.uniform(0.15, 2.5)
        return [Short(at_s=at_s, seconds=lasts, district=where, ohms=rng.uniform(0.03, 0.16), chatter=0.2)], 30.0
    if kind == "odd":
        return [_oddity(rng, at_s)], 20.0
    return [StepLoad(at_s=at_s, seconds=rng.uniform(0.3, 0.9), district=TOWN, amps=1.2)], 10.0


def _oddity(rng: np.random.Generator, at_s: float) -> Act:
    kind = int(rng.integers(0, 3))
    if kind == 0:
        return MainsDip(at_s=at_s, seconds=rng.uniform(0.1, 1.2), level=rng.uniform(0.5, 0.8))
    if kind == 1:
        return Binding(at_s=at_s, seconds=rng.uniform(5, 9), train=ORE, factor=rng.uniform(2.5, 3.5), rise_s=0.6)
    return FeedLost(at_s=at_s, seconds=rng.uniform(1, 6), district=INNER, ragged_s=rng.uniform(0.1, 0.4))
