"""Scenes in which nothing is wrong, however busy they are."""

from dataclasses import replace
from typing import Literal

import numpy as np

from monitor.rehearsal.model_acts import Act, Throttle, Transfer
from monitor.rehearsal.model_specs import ConverterSpec, Grade
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_acts import deliberate, solenoids
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench, draw_train
from monitor.rehearsal.stream import BoardFaults, LineStyle, Restart
from monitor.values import ResetCause

Rng = np.random.Generator


def clean(rng: Rng, seed: int, request: SceneRequest | None = None, name: str = "clean") -> Scene:
    """Trains run, whistles blow, directions change."""
    seconds = float(rng.uniform(110, 170))
    bench = draw_bench(rng, request or SceneRequest(wave="sine"))
    acts = deliberate(rng, bench, (8.0, seconds - 4)) + solenoids(rng, bench, (6.0, seconds - 3))
    return Scene(name=name, seed=seed, seconds=seconds, bench=bench, acts=tuple(acts), clean=True)


def clean_phase_cut(rng: Rng, seed: int) -> Scene:
    """The same from phase-cut outputs."""
    return clean(rng, seed, SceneRequest(wave="phase-cut"), "clean-phase-cut")


def clean_dc(rng: Rng, seed: int) -> Scene:
    """The same on a DC layout."""
    return clean(rng, seed, SceneRequest(wave="dc"), "clean-dc")


def wide_clean(rng: Rng, seed: int) -> Scene:
    """The same on a layout of any size, from any kind of supply."""
    wave: Literal["sine", "phase-cut", "dc"] = ("sine", "phase-cut", "dc")[int(rng.integers(3))]
    return clean(rng, seed, SceneRequest(wave=wave, wide=True), "wide-clean")


def busy(rng: Rng, seed: int) -> Scene:
    """Several trains on each district, up to three quarters of the rating, dirty track."""
    scene = clean(rng, seed, SceneRequest(share=(0.6, 0.75), trains=(1, 2), dirt=0.4, written=("points", "rating")), "busy")
    return replace(scene, nuisance_from="medium")


def arrivals(rng: Rng, seed: int) -> Scene:
    """Districts switched on, trains driven from one district to the other and off the layout."""
    bench = draw_bench(rng, SceneRequest(share=(0.35, 0.55)))
    seconds, late = float(rng.uniform(120, 180)), int(rng.integers(0, len(bench.trains)))
    cold = bench.trains[late].district
    waiting = replace(bench.districts[cold], level=0.0)
    level = bench.districts[cold].level
    bench = replace(bench, districts=tuple(waiting if n == cold else d for n, d in enumerate(bench.districts)))
    on_s = float(rng.uniform(8, 20))
    acts: list[Act] = [
        Throttle(at_s=on_s, seconds=float(rng.choice([0.002, float(rng.uniform(0.5, 4))])), district=cold, level=level)
    ]
    goer = (late + 1) % len(bench.trains)
    at, here = float(rng.uniform(30, 50)), bench.trains[goer].district
    others = [n for n in range(len(bench.districts)) if bench.districts[n].use == "track"]
    while at < seconds - 15:
        there = int(rng.choice(np.array([n for n in [*others, -1] if n != here])))
        acts.append(Transfer(at_s=at, seconds=float(rng.uniform(0.6, 2.5)), train=goer, district=there))
        here, at = there, at + float(rng.uniform(15, 35))
    return Scene(name="arrivals", seed=seed, seconds=seconds, bench=bench, acts=tuple(acts), clean=True)


def grade_trap(rng: Rng, seed: int) -> Scene:
    """A heavy train goes over the limit on its grade each lap, and is down again long before anything opens."""
    request = SceneRequest(
        wave="sine", share=(0.62, 0.72), breakers=("thermal",), tau_s=(60, 150), written=("points",), grade=(0.05, 0.2)
    )
    bench = draw_bench(rng, request)
    heavy = int(np.argmax([train.run_amps for train in bench.trains]))
    train = bench.trains[heavy]
    limit = bench.supplies[bench.districts[train.district].supply].breaker.rated_amps
    others = sum(t.run_amps + t.car_amps for t in bench.trains if t is not train and bench.districts[t.district].supply == 0)
    wanted = max(limit * float(rng.uniform(1.05, 1.2)) - others, train.run_amps * 1.3)
    hill = Grade(place=float(rng.random()), width=float(rng.uniform(0.12, 0.22)), load=(wanted / train.run_amps) ** 2 - 1)
    climber = replace(train, motor="series", grades=(hill,), lap_s=float(rng.uniform(14, 28)))
    trains = tuple(climber if n == heavy else other for n, other in enumerate(bench.trains))
    return Scene(
        name="grade-trap", seed=seed, seconds=180.0, bench=replace(bench, trains=trains), clean=True, nuisance_from="high"
    )


def damaged_clean(rng: Rng, seed: int) -> Scene:
    """A clean scene from a board with a bad cable: damaged bytes, dropped scans, a restart."""
    scene = clean(rng, seed, SceneRequest(), "damaged-clean")
    restart = Restart(
        at_s=float(rng.uniform(40, scene.seconds - 30)),
        away_s=float(rng.uniform(0.3, 2.5)),
        cause=ResetCause.BROWN_OUT if rng.random() < 0.5 else ResetCause.WATCHDOG,
    )
    faults = BoardFaults(
        drops=tuple((float(at), int(rng.integers(1, 60))) for at in sorted(rng.uniform(5, scene.seconds - 5, 4))),
        restarts=(restart,) if rng.random() < 0.6 else (),
        flips_per_byte=float(10 ** rng.uniform(-5.3, -4.0)),
        torn=tuple((float(at), int(rng.integers(50, 2000))) for at in sorted(rng.uniform(5, scene.seconds - 5, 3))),
        first_scan=int(rng.choice([0, int(rng.integers(0, 1 << 31)), (1 << 32) - 30_000])),
    )
    notes = {"restarts": len(faults.restarts), "brown_outs": sum(r.cause is ResetCause.BROWN_OUT for r in faults.restarts)}
    return replace(scene, faults=faults, notes=notes)


def bad_channels(rng: Rng, seed: int) -> Scene:
    """Sensors that lie: one channel hangs, one current sensor is the wrong way round, one clips."""
    scene = clean(rng, seed, SceneRequest(), "bad-channels")
    kind = str(rng.choice(["stuck", "reversed", "clipped"]))
    n = int(rng.integers(0, 3))
    converter: ConverterSpec = scene.bench.converter
    if kind == "stuck":
        converter = replace(converter, stuck_channel=2 * n + int(rng.integers(0, 2)), stuck_from_s=float(rng.uniform(10, 60)))
    elif kind == "reversed":
        converter = replace(converter, reversed_amps=(n,))
    else:
        converter = replace(converter, volts_span=float(rng.uniform(12, 17)))
    notes = {"finding": kind, "channel": converter.stuck_channel if kind == "stuck" else 2 * n + 1}
    return replace(scene, bench=replace(scene.bench, converter=converter), clean=False, notes=notes)


def lines_of(rng: Rng, scene: Scene, name: str) -> Scene:
    """A scene as a line board tells it."""
    style = LineStyle(
        interval_ms=int(rng.choice([50, 100, 100, 100, 200])),
        checksums=float(rng.choice([0.0, 1.0, rng.random()])),
        watts=float(rng.choice([0.0, 1.0, rng.random()])),
        jitter_ms=int(rng.integers(0, 4)),
        damaged=float(rng.choice([0.0, 0.002])),
        start_ms=int(rng.choice([0, int(rng.integers(0, 1 << 20)), (1 << 32) - 40_000])),
    )
    return replace(scene, name=name, lines=style)


def lines_clean(rng: Rng, seed: int) -> Scene:
    """A clean scene in the line form. A DC offset cannot be seen there, so there are no whistles."""
    bench = draw_bench(rng, SceneRequest(wave="sine"))
    seconds = float(rng.uniform(100, 140))
    acts = [act for act in deliberate(rng, bench, (8.0, seconds - 4), (12, 30)) if isinstance(act, Throttle)]
    scene = Scene(name="lines-clean", seed=seed, seconds=seconds, bench=bench, acts=tuple(acts), clean=True)
    return lines_of(rng, scene, "lines-clean")


def long_feeder(rng: Rng, seed: int) -> Scene:
    """A feeder measured at both ends, whose joint grows worse by the minute."""
    scene = clean(rng, seed, SceneRequest(wave="sine"), "long-feeder")
    growth = float(rng.choice([0.0, rng.uniform(0.0008, 0.003)]))
    awg, one_way_m = 16, round(float(rng.uniform(5, 10)), 1)
    wire_ohms = 2 * one_way_m * 13.174 / 1000
    first = replace(
        scene.bench.districts[0],
        has_far_volts=True,
        feeder=(awg, one_way_m),
        feeder_ohms=wire_ohms + (float(rng.uniform(0, 0.05)) if growth else 0.0),
        feeder_growth=growth,
    )
    bench = replace(scene.bench, districts=(first, *scene.bench.districts[1:]))
    end_ohms = first.feeder_ohms + growth * scene.seconds
    notes = {"district": first.name, "wire_ohms": wire_ohms, "loop_ohms_start": first.feeder_ohms, "loop_ohms_end": end_ohms}
    return replace(scene, bench=bench, notes=notes)


def newcomer(rng: Rng, scene: Scene, amps: tuple[float, float], district: int) -> tuple[Scene, int]:
    """The scene with one more train that waits off the layout; its position among the trains."""
    is_dc = scene.bench.supplies[scene.bench.districts[district].supply].current == "dc"
    train = replace(draw_train(rng, "Late freight", district, amps=amps, is_dc=is_dc), district=-1)
    return replace(scene, bench=replace(scene.bench, trains=(*scene.bench.trains, train))), len(scene.bench.trains)
