"""Scenes about too much load: slow overloads that end in a trip, and one that nothing ever ends."""

import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.rehearsal.model_acts import Act, StepLoad, Throttle, Transfer
from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_slow import SlowBench
from monitor.rehearsal.model_specs import BenchSpec, BreakerSpec
from monitor.rehearsal.model_train import NOMINAL_VOLTS
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_acts import Rng, deliberate, lines_of
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench, draw_train

_TICKS = 240


@dataclass(frozen=True, slots=True)
class Running:
    """Means over some laps."""

    amps: list[float]
    volt_amperes: list[float]
    volts: list[float]


def _running(bench: BenchSpec, seconds: float = 24.0) -> Running:
    """Run a bench with its protection bridged."""
    bridged = replace(
        bench,
        supplies=tuple(replace(supply, breaker=replace(supply.breaker, kind="none")) for supply in bench.supplies),
    )
    slow, rng = SlowBench(bridged), np.random.default_rng(0)
    rows: list[tuple[list[float], ...]] = []

    def note(_tick_scan: int, _steps: list[float]) -> None:
        rows.append((list(slow.amps), list(slow.volt_amperes), list(slow.volts)))

    blocks = max(round(seconds / (_TICKS * SCANS_PER_TICK * bench.converter.scan_interval_s)), 2)
    for block in range(blocks):
        frame = Frame(block * _TICKS * SCANS_PER_TICK, _TICKS, len(bench.districts), len(bench.trains))
        levels = np.repeat([[district.level] for district in bench.districts], frame.scans, axis=1)
        slow.run(frame, levels, note, rng)
    return Running(*(np.mean(figures, axis=0).tolist() for figures in zip(*rows[_TICKS:], strict=True)))


def _load_for(bench: BenchSpec, now: Running, district: int, more_amps: float) -> float:
    """Amps at nominal volts of a load that adds so many amps in a district, the sag of its supply allowed for."""
    ohms = bench.inner_ohms(district) + bench.districts[district].feeder_ohms
    volts = max(now.volts[district] - ohms * more_amps, 0.3 * now.volts[district], 1.0)
    return more_amps * NOMINAL_VOLTS / volts


def _load_for_va(bench: BenchSpec, district: int, volt_amperes: float) -> float:
    """Amps at nominal volts of a load in a district that brings its supply to so many volt-amperes in all."""
    supply = bench.districts[district].supply
    amps, now = 0.0, _running(bench, 8.0)
    for _ in range(3):
        missing = volt_amperes - now.volt_amperes[supply]
        amps = max(amps + _load_for(bench, now, district, missing / max(now.volts[district], 1.0)), 0.0)
        loaded = replace(bench.districts[district], steady_amps=bench.districts[district].steady_amps + amps)
        districts = tuple(loaded if n == district else other for n, other in enumerate(bench.districts))
        now = _running(replace(bench, districts=districts), 8.0)
    return amps


_THERMAL = SceneRequest(share=(0.45, 0.6), breakers=("thermal",), tau_s=(18, 90), written=("points", "points", "rating"))


def overload(rng: Rng, request: SceneRequest = _THERMAL) -> Scene:
    """Loads come on one after the other until the protection's heat runs up and it opens; then again."""
    bench = draw_bench(rng, request)
    supply = int(rng.integers(0, len(bench.supplies)))
    breaker = bench.supplies[supply].breaker
    now = _running(bench)
    ratio = rng.uniform(1.12, 1.75)
    missing = max(breaker.rated_amps * breaker.hold_ratio * ratio - now.amps[supply], 1.0)
    first_s, onset_s = rng.uniform(25, 40), rng.uniform(48, 70)
    seconds = min(onset_s + 1.35 * _trip_s(breaker, ratio, now.amps[supply]) + 40, 330)
    early = rng.uniform(0.15, 0.4) * missing
    places = bench.districts_of(supply)
    one, other = int(rng.choice(places)), int(rng.choice(places))
    late_amps = _load_for(bench, now, other, missing) - _load_for(bench, now, other, early)
    acts: list[Act] = [
        _step(rng, first_s, seconds, one, _load_for(bench, now, one, early)),
        replace(_step(rng, onset_s, seconds, other, late_amps), overload=True),
    ]
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts))


def overload_train(rng: Rng) -> Scene:
    """A heavy train too many drives in; its draw goes up and down with the grades while heat runs up."""
    bench = draw_bench(rng, _THERMAL)
    supply = int(rng.integers(0, len(bench.supplies)))
    tracks = [n for n in bench.districts_of(supply) if bench.districts[n].use == "track"]
    breaker = bench.supplies[supply].breaker
    now = _running(bench)
    ratio = rng.uniform(1.2, 1.6)
    missing = max(breaker.rated_amps * breaker.hold_ratio * ratio - now.amps[supply], 1.0)
    district = int(rng.choice(tracks))
    onset_s = rng.uniform(35, 60)
    seconds = min(onset_s + 1.5 * _trip_s(breaker, ratio, now.amps[supply]) + 40, 330)
    scene = Scene(seconds=seconds, bench=bench)
    scene, train = _newcomer(rng, scene, (missing * 0.95, missing * 1.15), district)
    act = Transfer(at_s=onset_s, seconds=1.0, train=train, district=district, overload=True)
    return replace(scene, acts=(act,))


def overload_creep(rng: Rng) -> Scene:
    """Hands push throttles up and lights come on bit by bit until it is too much."""
    scene = overload(rng)
    steps = []
    for act in scene.acts:
        if isinstance(act, StepLoad) and act.overload:
            begin = act.at_s
            for part in range(4):
                steps.append(replace(act, at_s=begin, amps=act.amps / 4, overload=part == 3))
                begin += rng.uniform(3, 9)
    district = scene.bench.districts_of(0)[0]
    level = min(scene.bench.districts[district].level * 1.1, 1.0)
    hand = Throttle(at_s=15.0, seconds=3.0, district=district, level=level)
    return replace(scene, acts=(hand, scene.acts[0], *steps), seconds=scene.seconds + 30)


def over_nameplate(rng: Rng) -> Scene:
    """More than the plate allows, and nothing that would ever open."""
    bench = draw_bench(rng, SceneRequest(share=(0.5, 0.65), breakers=("none",), regulation=(0.05, 0.1)))
    supply = int(rng.integers(0, len(bench.supplies)))
    # Volts well up: at a low throttle no load brings the supply over its plate.
    turned_up = (replace(d, level=max(d.level, rng.uniform(0.85, 0.95))) if d.supply == supply else d for d in bench.districts)
    bench = replace(bench, districts=tuple(turned_up))
    district = int(rng.choice(bench.districts_of(supply)))
    amps = _load_for_va(bench, district, bench.supplies[supply].rated_va * rng.uniform(1.08, 1.35))
    act = replace(_step(rng, rng.uniform(49.2, 50.0), 118.0, district, amps), surge=1.0)
    return Scene(seconds=120.0, bench=bench, acts=(act,))


def near_limit(rng: Rng) -> Scene:
    """Busy and close to the rating for a while, but nothing that ever opens: a high warning would be wrong."""
    bench = draw_bench(rng, SceneRequest(share=(0.72, 0.85), breakers=("thermal",), tau_s=(40, 150), written=("points",)))
    acts = deliberate(rng, bench, (10, 170), (8, 20))
    return Scene(seconds=180.0, bench=bench, acts=tuple(acts), clean=True, nuisance_from="high")


def lines_overload(rng: Rng) -> Scene:
    """An overload as a line board tells it."""
    scene = overload(rng, replace(_THERMAL, wave="sine"))
    return lines_of(rng, scene)


def _step(rng: Rng, at_s: float, until_s: float, district: int, amps: float) -> StepLoad:
    surge = float(rng.choice([1.0, rng.uniform(1.2, 2.5)]))
    return StepLoad(at_s=at_s, seconds=until_s - at_s, district=district, amps=amps, surge=surge, surge_s=0.4)


def _trip_s(breaker: BreakerSpec, ratio: float, amps: float) -> float:
    before = min(amps / (breaker.rated_amps * breaker.hold_ratio), 0.95)
    return breaker.tau_s * breaker.spread * math.log((ratio**2 - before**2) / (ratio**2 - 1))


def _newcomer(rng: Rng, scene: Scene, amps: tuple[float, float], district: int) -> tuple[Scene, int]:
    """The scene with one more train that waits off the layout; its position among the trains."""
    is_dc = scene.bench.supply_of(district).current == "dc"
    train = replace(draw_train(rng, "Late freight", district, amps=amps, is_dc=is_dc), district=-1)
    return replace(scene, bench=replace(scene.bench, trains=(*scene.bench.trains, train))), len(scene.bench.trains)
