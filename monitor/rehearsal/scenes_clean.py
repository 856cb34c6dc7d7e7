"""Scenes in which nothing is wrong, however busy they are."""

from dataclasses import replace

import numpy as np

from monitor.rehearsal.model_acts import Act, Throttle, Transfer
from monitor.rehearsal.model_specs import Grade
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_acts import Rng, deliberate, lines_of, solenoids
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench
from monitor.rehearsal.stream import BoardFaults, Restart
from monitor.values import ResetCause


def clean(rng: Rng, request: SceneRequest | None = None) -> Scene:
    """Trains run, whistles blow, directions change."""
    seconds = rng.uniform(110, 170)
    bench = draw_bench(rng, request or SceneRequest(wave="sine"))
    acts = deliberate(rng, bench, (8.0, seconds - 4)) + solenoids(rng, bench, (6.0, seconds - 3))
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), clean=True)


def clean_phase_cut(rng: Rng) -> Scene:
    """The same from phase-cut outputs."""
    return clean(rng, SceneRequest(wave="phase-cut"))


def clean_dc(rng: Rng) -> Scene:
    """The same on a DC layout."""
    return clean(rng, SceneRequest(wave="dc"))


def wide_clean(rng: Rng) -> Scene:
    """The same on a layout of any size, from any kind of supply."""
    return clean(rng, SceneRequest(wave=("sine", "phase-cut", "dc")[int(rng.integers(3))], wide=True))


def busy(rng: Rng) -> Scene:
    """Several trains on each district, up to three quarters of the rating, dirty track."""
    return clean(rng, SceneRequest(share=(0.6, 0.75), trains=(1, 2), dirt=0.4, written=("points", "rating")))


def arrivals(rng: Rng) -> Scene:
    """Districts switched on, trains driven from one district to the other and off the layout."""
    bench = draw_bench(rng, SceneRequest(share=(0.35, 0.55)))
    seconds, late = rng.uniform(120, 180), int(rng.integers(0, len(bench.trains)))
    cold = bench.trains[late].district
    waiting = replace(bench.districts[cold], level=0.0)
    level = bench.districts[cold].level
    bench = replace(bench, districts=tuple(waiting if n == cold else d for n, d in enumerate(bench.districts)))
    on_s = rng.uniform(8, 20)
    acts: list[Act] = [Throttle(at_s=on_s, seconds=float(rng.choice([0.002, rng.uniform(0.5, 4)])), district=cold, level=level)]
    goer = (late + 1) % len(bench.trains)
    at, here = rng.uniform(30, 50), bench.trains[goer].district
    while at < seconds - 15:
        there = int(rng.choice(np.array([n for n in [*bench.tracks, -1] if n != here])))
        acts.append(Transfer(at_s=at, seconds=rng.uniform(0.6, 2.5), train=goer, district=there))
        here, at = there, at + rng.uniform(15, 35)
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), clean=True)


def grade_trap(rng: Rng) -> Scene:
    """A heavy train goes over the limit on its grade each lap, and is down again long before anything opens."""
    request = SceneRequest(
        wave="sine", share=(0.62, 0.72), breakers=("thermal",), tau_s=(60, 150), written=("points",), grade=(0.05, 0.2)
    )
    bench = draw_bench(rng, request)
    heavy = int(np.argmax([train.run_amps for train in bench.trains]))
    train = bench.trains[heavy]
    limit = bench.supply_of(train.district).breaker.rated_amps
    others = sum(t.run_amps + t.car_amps for t in bench.trains if t is not train and bench.districts[t.district].supply == 0)
    wanted = max(limit * rng.uniform(1.05, 1.2) - others, train.run_amps * 1.3)
    hill = Grade(place=rng.random(), width=rng.uniform(0.12, 0.22), load=(wanted / train.run_amps) ** 2 - 1)
    climber = replace(train, motor="series", grades=(hill,), lap_s=rng.uniform(14, 28))
    trains = tuple(climber if n == heavy else other for n, other in enumerate(bench.trains))
    return Scene(seconds=180.0, bench=replace(bench, trains=trains), clean=True, nuisance_from="high")


def damaged_clean(rng: Rng) -> Scene:
    """A clean scene from a board with a bad cable: damaged bytes, dropped scans, a restart."""
    scene = clean(rng, SceneRequest())
    restart = Restart(
        at_s=rng.uniform(40, scene.seconds - 30),
        away_s=rng.uniform(0.3, 2.5),
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


def bad_channels(rng: Rng) -> Scene:
    """Sensors that lie: one channel hangs, one current sensor is the wrong way round, one clips."""
    scene = clean(rng, SceneRequest())
    kind = str(rng.choice(["stuck", "reversed", "clipped"]))
    n = int(rng.integers(0, 3))
    converter = scene.bench.converter
    if kind == "stuck":
        converter = replace(converter, stuck_channel=2 * n + int(rng.integers(0, 2)), stuck_from_s=rng.uniform(10, 60))
    elif kind == "reversed":
        converter = replace(converter, reversed_amps=(n,))
    else:
        converter = replace(converter, volts_span=rng.uniform(12, 17))
    notes = {"finding": kind, "channel": converter.stuck_channel if kind == "stuck" else 2 * n + 1}
    return replace(scene, bench=replace(scene.bench, converter=converter), clean=False, notes=notes)


def lines_clean(rng: Rng) -> Scene:
    """A clean scene in the line form. A DC offset cannot be seen there, so there are no whistles."""
    bench = draw_bench(rng, SceneRequest(wave="sine"))
    seconds = rng.uniform(100, 140)
    acts = [act for act in deliberate(rng, bench, (8.0, seconds - 4), (12, 30)) if isinstance(act, Throttle)]
    scene = Scene(seconds=seconds, bench=bench, acts=tuple(acts), clean=True)
    return lines_of(rng, scene)


def long_feeder(rng: Rng) -> Scene:
    """A feeder measured at both ends, whose joint grows worse by the minute."""
    scene = clean(rng, SceneRequest(wave="sine"))
    growth = float(rng.choice([0.0, rng.uniform(0.0008, 0.003)]))
    awg, one_way_m = 16, round(rng.uniform(5, 10), 1)
    wire_ohms = 2 * one_way_m * 13.174 / 1000
    first = replace(
        scene.bench.districts[0],
        has_far_volts=True,
        feeder=(awg, one_way_m),
        feeder_ohms=wire_ohms + (rng.uniform(0, 0.05) if growth else 0.0),
        feeder_growth=growth,
    )
    bench = replace(scene.bench, districts=(first, *scene.bench.districts[1:]))
    end_ohms = first.feeder_ohms + growth * scene.seconds
    notes = {"district": first.name, "wire_ohms": wire_ohms, "loop_ohms_start": first.feeder_ohms, "loop_ohms_end": end_ohms}
    return replace(scene, bench=bench, notes=notes)
