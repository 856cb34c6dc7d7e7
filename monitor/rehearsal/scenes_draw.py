"""Layouts drawn at random: supplies sized for their loads, districts, trains, a board.

Ranges are common practice, no published source.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from monitor.rehearsal.model_specs import (
    BenchSpec,
    BreakerKind,
    BreakerSpec,
    ConverterSpec,
    DistrictSpec,
    Grade,
    SupplySpec,
    TrainSpec,
    WaveKind,
)

Rng = np.random.Generator

SIZES = ((1, 1), (1, 2), (2, 3), (2, 4), (2, 4), (3, 6))
"""Supplies and districts of layouts of any size; a board of 20 channels has room for ten districts."""
SUPPLIES = ("North bench", "South bench", "West bench")
DISTRICTS = ("Outer main", "Inner main", "Quarry branch", "Town lights", "Mill siding", "Harbour yard")
OHMS_PER_KM = {14: 8.285, 16: 13.174, 18: 20.948, 20: 33.308}
"""Solid annealed copper at 20 C (ASTM B258 sizes, IEC 60028 resistivity)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneRequest:
    """What a scene needs of its bench.

    Attributes:
        wave: What outputs make of the secondary; "ac" draws sine or phase-cut.
        share: Lowest and highest share of each supply's rating that its loads take when all of them run.
        regulation: Lowest and highest share of volts that a supply loses at its rating.
        breakers: Kinds to choose from.
        tau_s: Time constants of thermal breakers.
        written: What layout files may say of the protection.
        trains: Trains on each track district, fewest and most.
        busy: The last district is track too, not lights.
        grade: Lowest and highest added load on grades.
        dirt: Highest rate of very short losses of contact.
        wide: Any layout: one district to six, toys of a tenth of an amp to 10 A, 8 to 22 V, any kind of DC.
    """

    wave: Literal["ac", "sine", "phase-cut", "dc"] = "ac"
    share: tuple[float, float] = (0.35, 0.7)
    regulation: tuple[float, float] = (0.06, 0.16)
    breakers: tuple[BreakerKind, ...] = ("thermal", "thermal", "thermal", "electronic", "none")
    tau_s: tuple[float, float] = (20.0, 150.0)
    written: tuple[Literal["points", "rating", "unknown", "nothing"], ...] = ("points", "points", "points", "rating", "unknown")
    trains: tuple[int, int] = (1, 1)
    busy: bool = False
    grade: tuple[float, float] = (0.15, 0.7)
    dirt: float = 0.05
    wide: bool = False


def any_wave(rng: Rng) -> SceneRequest:
    """Any layout, from any kind of supply, with room for loads to come and go."""
    return SceneRequest(share=(0.3, 0.55), wave="dc" if rng.random() < 0.4 else "ac", wide=True)


def draw_bench(rng: Rng, request: SceneRequest, supplies: int = 2, districts: int = 4) -> BenchSpec:
    """A bench that suits the request."""
    if request.wide:
        supplies, districts = SIZES[int(rng.integers(len(SIZES)))]
    wave = request.wave if request.wave != "ac" else "phase-cut" if rng.random() < 0.3 else "sine"
    hertz = float(rng.choice([50.0, 60.0]))
    owners = sorted(n % supplies for n in range(districts))
    open_volts = [rng.uniform(15.5, 20.5) for _ in range(supplies)]
    outputs = ["ABCDEF"[owners[:n].count(owners[n])] for n in range(districts)]
    drafts = [_draft_district(rng, n, (owners[n], outputs[n]), lights=not request.busy and n == 3) for n in range(districts)]
    trains = [
        train for n in range(districts) if drafts[n].use == "track" for train in _draw_trains(rng, request, n, is_dc=wave == "dc")
    ]
    amps = [_amps_of(s, drafts, trains) for s in range(supplies)]
    drawn = [_draw_supply(rng, s, request, amps[s], open_volts[s]) for s in range(supplies)]
    waves = {s: _any_dc(rng) if request.wide and wave == "dc" else _wave_of(rng, wave) for s in range(supplies)}
    finished = [_set_level(rng, draft, drawn[draft.supply], trains, n, waves[draft.supply]) for n, draft in enumerate(drafts)]
    bench = BenchSpec(
        title="Fernhollow show layout",
        supplies=tuple(drawn),
        districts=tuple(finished),
        trains=tuple(trains),
        converter=draw_converter(rng, max(amps), 2 * districts),
        mains_volts=230.0 if hertz == 50 else 120.0,
        mains_hertz=hertz,
        hertz_wander=rng.uniform(0.002, 0.03),
        lap_hints=bool(rng.random() < 0.2),
    )
    return _scaled(rng, bench) if request.wide else bench


def draw_train(rng: Rng, name: str, district: int, *, amps: tuple[float, float], is_dc: bool = False) -> TrainSpec:
    """A train that draws between so many amps on the level."""
    magnet = is_dc or rng.random() < 0.3
    return TrainSpec(
        name=name,
        district=district,
        motor="magnet" if magnet else "series",
        run_amps=rng.uniform(*amps),
        run_volts=rng.uniform(11.0, 14.5),
        start_ratio=rng.uniform(1.4, 2.1),
        armature=rng.uniform(0.25, 0.45),
        inertia_s=rng.uniform(0.3, 1.5),
        lap_s=rng.uniform(9.0, 26.0),
        place=rng.random(),
        grades=_draw_grades(rng, (0.15, 0.6)),
        drag=rng.uniform(0.15, 0.5),
        wobble=rng.uniform(0.02, 0.09),
        hash_noise=rng.uniform(0.005, 0.05),
        car_amps=float(rng.choice([0.0, rng.uniform(0.1, 1.0)], p=[0.2, 0.8])),
        car_tau_s=rng.uniform(0.03, 0.1),
    )


def draw_breaker(rng: Rng, request: SceneRequest, rated_amps: float) -> BreakerSpec:
    """A protection of one of the kinds asked for."""
    kind: BreakerKind = request.breakers[int(rng.integers(len(request.breakers)))]
    electronic = kind == "electronic"
    instant = rng.uniform(1.9, 2.6) if electronic else rng.uniform(5, 10) if rng.random() < 0.4 else None
    tau_s = math.exp(rng.uniform(math.log(request.tau_s[0]), math.log(request.tau_s[1])))
    return BreakerSpec(
        kind=kind,
        rated_amps=round(rated_amps, 1),
        hold_ratio=rng.uniform(1.04, 1.25) if kind != "fuse" else rng.uniform(1.2, 1.4),
        tau_s=tau_s if kind != "fuse" else tau_s * 0.4,
        spread=rng.uniform(0.76, 1.24),
        cool_ratio=rng.uniform(0.6, 1.5),
        reset_heat=rng.uniform(0.4, 0.75),
        reset_after_s=rng.uniform(4, 20),
        reset="manual" if rng.random() < 0.3 and not electronic else "auto",
        instant_ratio=instant,
        delay_s=rng.uniform(0.15, 0.6) if electronic else rng.uniform(0.01, 0.03),
        written="points" if kind == "none" else request.written[int(rng.integers(len(request.written)))],
    )


def draw_converter(rng: Rng, most_amps: float, channels: int) -> ConverterSpec:
    """A board whose current sensors suit the loads: a common hall sensor of 20 or 30 A, now and then a finer one."""
    interval_s = float(rng.choice([832e-6, 832e-6, 832e-6, 960e-6, 700e-6]))
    return ConverterSpec(
        scan_interval_s=interval_s,
        clock_error=rng.uniform(-0.004, 0.004),
        conversion_s=round(interval_s / channels * rng.uniform(0.8, 1.0), 6),
        volts_span=rng.uniform(32, 42),
        amps_span=max(float(rng.choice([20.0, 25.0, 30.0])), 2.2 * most_amps),
        noise_counts=rng.uniform(0.2, 1.2),
        zero_error_counts=rng.uniform(0.1, 1.0),
        gain_error=rng.uniform(0.001, 0.008),
    )


def _draft_district(rng: Rng, n: int, fed_by: tuple[int, str], *, lights: bool) -> DistrictSpec:
    wired = rng.random() < 0.3
    awg, one_way_m = int(rng.choice([14, 16, 18])), round(rng.uniform(2, 9), 1)
    return DistrictSpec(
        name=DISTRICTS[n],
        supply=fed_by[0],
        output=fed_by[1],
        use="accessories" if lights else "track",
        constant=lights and bool(rng.random() < 0.7),
        own_ohms=rng.uniform(0.02, 0.12),
        feeder_ohms=2 * one_way_m * OHMS_PER_KM[awg] / 1000 if wired else rng.uniform(0, 0.08),
        feeder=(awg, one_way_m) if wired else None,
        lamp_amps=rng.uniform(0.4, 1.6) if lights else float(rng.choice([0.0, rng.uniform(0.05, 0.3)])),
        steady_amps=rng.uniform(0.0, 0.4),
    )


def _draw_trains(rng: Rng, request: SceneRequest, district: int, *, is_dc: bool) -> list[TrainSpec]:
    count = int(rng.integers(request.trains[0], request.trains[1] + 1))
    rows = []
    for n in range(count):
        train = draw_train(
            rng, f"{DISTRICTS[district]} train {n + 1}", district, amps=(0.6, 1.3) if is_dc else (0.8, 2.6), is_dc=is_dc
        )
        rows.append(
            replace(
                train,
                grades=_draw_grades(rng, request.grade),
                dirt_rate=rng.uniform(0, request.dirt),
                run_amps=train.run_amps / math.sqrt(count),
            )
        )
    return rows


def _draw_grades(rng: Rng, load: tuple[float, float]) -> tuple[Grade, ...]:
    count = int(rng.integers(1, 4))
    places = (rng.random() + np.arange(count) / count + rng.uniform(0, 0.4 / count, count)) % 1
    grades = [Grade(place=float(p), width=rng.uniform(0.06, 0.5 / count), load=rng.uniform(*load)) for p in places]
    if rng.random() < 0.5:
        grades.append(Grade(place=float((places[0] + 0.5 / count) % 1), width=0.3 / count, load=rng.uniform(-0.4, -0.1)))
    return tuple(grades)


def _amps_of(supply: int, districts: list[DistrictSpec], trains: list[TrainSpec]) -> float:
    own = [n for n, district in enumerate(districts) if district.supply == supply]
    fixed = sum(districts[n].lamp_amps + districts[n].steady_amps for n in own)
    return fixed + sum(1.15 * train.run_amps + train.car_amps for train in trains if train.district in own)


def _draw_supply(rng: Rng, s: int, request: SceneRequest, amps: float, open_volts: float) -> SupplySpec:
    rated_amps = max(amps / rng.uniform(*request.share), 1.5)
    lost = rng.uniform(*request.regulation)
    max_volts = open_volts * (1 - lost * rng.uniform(0.3, 1.0))
    harmonics = (rng.normal(0, 0.015), rng.normal(0, 0.015))
    return SupplySpec(
        name=SUPPLIES[s],
        current="dc" if request.wave == "dc" else "ac",
        volts_open=open_volts,
        source_ohms=lost * open_volts / rated_amps,
        rated_va=round(rated_amps * max_volts),
        max_volts=round(max_volts, 4),
        breaker=draw_breaker(rng, request, rated_amps * rng.uniform(0.92, 1.1)),
        phase_rad=float(rng.choice([0.0, math.pi])) + rng.normal(0, 0.03),
        harmonics=harmonics,
        ripple=rng.uniform(0.01, 0.08),
    )


def _any_dc(rng: Rng) -> WaveKind:
    kinds: tuple[WaveKind, ...] = ("filtered", "rectified", "half-wave", "pulsed")
    return kinds[int(rng.integers(len(kinds)))]


def _scaled(rng: Rng, bench: BenchSpec) -> BenchSpec:
    """The same layout in another size: all volts and all amps by a factor each, so that what is shared stays shared."""
    volts = rng.uniform(8.0, 22.0) / max(supply.volts_open for supply in bench.supplies)
    most = max(supply.rated_amps for supply in bench.supplies)
    amps = math.exp(rng.uniform(math.log(0.8), math.log(12.0))) / most
    ohms = volts / amps
    span = bench.converter.amps_span * amps
    supplies = tuple(
        replace(
            s,
            volts_open=s.volts_open * volts,
            max_volts=round(s.max_volts * volts, 4),
            rated_va=max(1.0, round(s.rated_va * volts * amps, 1)),
            source_ohms=s.source_ohms * ohms,
            breaker=replace(s.breaker, rated_amps=round(s.breaker.rated_amps * amps, 3)),
            pulses_per_cycle=float(rng.choice([rng.uniform(1.5, 6), rng.uniform(20, 400)])),
        )
        for s in bench.supplies
    )
    loads = amps / volts  # amps of lamps are those at nominal volts
    districts = tuple(
        replace(
            d,
            own_ohms=d.own_ohms * ohms,
            feeder_ohms=d.feeder_ohms * ohms,
            feeder=None,
            lamp_amps=d.lamp_amps * loads,
            steady_amps=d.steady_amps * loads,
        )
        for d in bench.districts
    )
    trains = tuple(
        replace(t, run_amps=t.run_amps * amps, run_volts=t.run_volts * volts, car_amps=t.car_amps * loads) for t in bench.trains
    )
    # Sensors come in few sizes: a small layout uses little of its range.
    converter = replace(bench.converter, amps_span=max(span, float(rng.choice([1.0, 5.0, 20.0]))))
    return replace(bench, supplies=supplies, districts=districts, trains=trains, converter=converter)


def _wave_of(rng: Rng, wave: str) -> WaveKind:
    if wave == "dc":
        return "filtered" if rng.random() < 0.5 else "rectified"
    return "phase-cut" if wave == "phase-cut" else "sine"


def _set_level(
    rng: Rng, draft: DistrictSpec, supply: SupplySpec, trains: list[TrainSpec], n: int, wave: WaveKind
) -> DistrictSpec:
    own = [train.run_volts for train in trains if train.district == n]
    wanted = (sum(own) / len(own) if own else 14.0) * rng.uniform(0.9, 1.05)
    level = min(wanted / (supply.volts_open * 0.93), 0.98)
    return replace(draft, level=level, wave="sine" if draft.constant and wave == "phase-cut" else wave)
