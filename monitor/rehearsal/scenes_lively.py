"""Scenes of a livelier world: reversing units that drop out, inrush, hands on every lever, wheels across turnouts, weak sections.

Ranges are drawn wider than common practice suggests (no published source), for a diagnosis must not lean on them.
"""

from dataclasses import replace

import numpy as np

from monitor.rehearsal.model_acts import (
    Act,
    Binding,
    ContactLoss,
    DirectionBreak,
    DropOut,
    Flicker,
    Short,
    StepLoad,
    Throttle,
    Transfer,
)
from monitor.rehearsal.model_specs import BenchSpec, ModelSpot
from monitor.rehearsal.scene import ExpectedPattern, Scene
from monitor.rehearsal.scenes_acts import moments, solenoids, whistle
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench

Rng = np.random.Generator


def drop_outs(rng: Rng, seed: int) -> Scene:
    """Trains that stand in neutral after a lost contact until a hand steps them on."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.6)))
    acts: list[Act] = []
    for at in moments(rng, (14, 170), (9, 22)):
        train = int(rng.integers(len(bench.trains)))
        stands_s = float(rng.uniform(1.5, 6.5))
        acts.append(DropOut(at_s=at, seconds=stands_s, train=train))
        acts += presses(rng, bench, bench.trains[train].district, at + stands_s)
    return Scene(name="drop-outs", seed=seed, seconds=180.0, bench=bench, acts=tuple(acts))


def sudden_stalls(rng: Rng, seed: int) -> Scene:
    """Trains that are blocked within a moment, beside loads that are switched on."""
    bench = lively(rng, SceneRequest(share=(0.15, 0.4), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (32, 150), (16, 26)):
        if rng.random() < 0.4:
            acts += switched(rng, bench, at)
            continue
        train, lasts = int(rng.integers(len(bench.trains))), float(rng.uniform(3, 9))
        stall = Binding(
            at_s=at, seconds=lasts, train=train, factor=float(rng.uniform(8, 40)), rise_s=float(rng.uniform(0.01, 0.3))
        )
        acts += [stall]
        if rng.random() < 0.5:
            acts += slam(rng, bench, bench.trains[train].district, at + lasts - 0.3)
    return Scene(name="sudden-stalls", seed=seed, seconds=170.0, bench=bench, acts=tuple(acts))


def bridged_turnouts(rng: Rng, seed: int) -> Scene:
    """Wheels that bridge a turnout for a moment on supplies too stiff for the volts to collapse."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.5), regulation=(0.03, 0.07), breakers=("thermal", "none"), wave="sine"))
    span = 9 * max(supply.rated_va / supply.max_volts for supply in bench.supplies)
    districts = tuple(replace(district, feeder_ohms=0.0) for district in bench.districts)
    bench = replace(bench, districts=districts, converter=replace(bench.converter, amps_span=span))
    acts: list[Act] = []
    for at in moments(rng, (12, 130), (5, 15)):
        district = track(rng, bench)
        ohms = _bridge_ohms(rng, bench, district)
        lasts = float(rng.choice([rng.uniform(0.02, 0.06), rng.uniform(0.06, 0.25)]))
        acts.append(Short(at_s=at, seconds=lasts, district=district, ohms=ohms))
    return Scene(name="bridged-turnouts", seed=seed, seconds=140.0, bench=bench, acts=tuple(acts))


def _bridge_ohms(rng: Rng, bench: BenchSpec, district: int) -> float:
    """Ohms that draw well over 2.5 times the rating and leave up to 80 % of the volts; where no ohms do, a plain short's."""
    spec = bench.districts[district]
    supply = bench.supplies[spec.supply]
    inner = supply.source_ohms + spec.own_ohms
    wanted = float(rng.uniform(3.0, 8.0)) * max(supply.breaker.rated_amps, supply.rated_va / supply.max_volts)
    left = 1 - wanted * inner / (supply.volts_open * spec.level)
    left = left if 0.1 < left < 0.8 else float(rng.uniform(0.15, 0.55))
    return left / (1 - left) * inner


def hands_everywhere(rng: Rng, seed: int) -> Scene:
    """Overloads that open the protection, and hands that press every lever afterwards."""
    bench = lively(rng, SceneRequest(share=(0.45, 0.7), breakers=("thermal",), tau_s=(10, 40), written=("points",)))
    acts: list[Act] = []
    supply = int(rng.integers(len(bench.supplies)))
    places = bench.districts_of(supply)
    rated = bench.supplies[supply].breaker.rated_amps
    at = float(rng.uniform(20, 30))
    acts.append(
        StepLoad(
            at_s=at, seconds=60.0, district=int(rng.choice(places)), amps=rated * float(rng.uniform(1.0, 2.2)), overload=True
        )
    )
    for at_s in moments(rng, (10, 190), (0.6, 6.0)):
        acts += presses(rng, bench, track(rng, bench), at_s)
    return Scene(name="hands-everywhere", seed=seed, seconds=200.0, bench=bench, acts=apart(acts))


def flickers(rng: Rng, seed: int) -> Scene:
    """Lit cars with dirty wheels: lights flicker all the time, and engines run on."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), dirt=0.4))
    acts: list[Act] = [
        Flicker(at_s=at, seconds=float(rng.uniform(0.015, 0.3)), train=int(rng.integers(len(bench.trains))))
        for at in moments(rng, (5, 175), (0.4, 4.0))
    ]
    acts += [whistle(rng, track(rng, bench), at) for at in moments(rng, (8, 170), (9, 25))]
    return Scene(name="flickers", seed=seed, seconds=180.0, bench=bench, acts=tuple(acts), clean=True)


def slammed(rng: Rng, seed: int) -> Scene:
    """Throttles slammed shut and pulled open, and trains that then start."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (12, 150), (10, 16)):
        acts += slam(rng, bench, track(rng, bench), at)
    return Scene(name="slammed", seed=seed, seconds=165.0, bench=bench, acts=tuple(acts), clean=True)


def weak_sections(rng: Rng, seed: int) -> Scene:
    """A stretch of track that is fed through a bad joint: amps sag all the way along it."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.5)))
    train = bench.trains[0]
    longest = min(7.0, 0.35 * train.lap_s)
    low = float(rng.uniform(0.7, longest))
    spot = ModelSpot(
        district=train.district,
        place=float(rng.random()),
        chance=1.0,
        seconds=(low, low * 1.15),
        joint_ohms=(float(rng.uniform(1.5, 4.0)), float(rng.uniform(4.0, 7.0))),
    )
    bench = replace(bench, spots=(spot,))
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(train.district,), lap_of=0)
    return Scene(name="weak-sections", seed=seed, seconds=14 * train.lap_s, bench=bench, pattern=pattern)


def crossings(rng: Rng, seed: int) -> Scene:
    """Trains that change districts all the time, whistles, loads switched on and off: nothing is wrong."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",), trains=(1, 2)))
    tracks = [n for n, district in enumerate(bench.districts) if district.use == "track"]
    here = [train.district for train in bench.trains]
    acts: list[Act] = []
    for at in moments(rng, (10, 190), (3, 9)):
        goer = int(rng.integers(len(here)))
        there = int(rng.choice([n for n in tracks if n != here[goer]]))
        acts.append(Transfer(at_s=at, seconds=float(rng.uniform(0.3, 3.0)), train=goer, district=there))
        here[goer] = there
    for at in moments(rng, (12, 185), (6, 20)):
        acts += switched(rng, bench, at) if rng.random() < 0.5 else [whistle(rng, track(rng, bench), at)]
    acts += solenoids(rng, bench, (10, 190), (5, 15))
    return Scene(name="crossings", seed=seed, seconds=200.0, bench=bench, acts=tuple(acts), clean=True)


def chattering(rng: Rng, seed: int) -> Scene:
    """Contacts that chatter, with whole losses among and after the chatter."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), dirt=0.3))
    acts: list[Act] = []
    for at in moments(rng, (12, 165), (5, 12)):
        train, at_s = int(rng.integers(len(bench.trains))), at
        for _ in range(int(rng.integers(1, 4))):
            lasts = float(rng.uniform(0.05, 0.4))
            acts.append(ContactLoss(at_s=at_s, seconds=lasts, train=train))
            at_s += lasts + float(rng.uniform(0.35, 0.9))
    return Scene(name="chattering", seed=seed, seconds=170.0, bench=bench, acts=tuple(acts))


def lively(rng: Rng, request: SceneRequest) -> BenchSpec:
    """A bench whose trains ripple with their wheels, and whose contact is less than perfect."""
    bench = draw_bench(rng, request)
    trains = tuple(
        replace(
            train,
            ripple=float(rng.uniform(0.0, 0.09)),
            wheel_turns=float(rng.uniform(30, 160)),
            hash_noise=float(rng.uniform(0.005, 0.08)),
            car_amps=train.car_amps * float(rng.uniform(0.5, 1.8)),
            dirt_rate=max(train.dirt_rate, float(rng.uniform(0, request.dirt))),
        )
        for train in bench.trains
    )
    return replace(bench, trains=trains)


def presses(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """A hand's press, and the inrush of what hangs on the rails when the volts come back."""
    lasts = float(rng.uniform(0.25, 0.9))
    supply = bench.supplies[bench.districts[district].supply]
    acts: list[Act] = [DirectionBreak(at_s=at_s, seconds=lasts, district=district)]
    if rng.random() < 0.7:
        rated = supply.rated_va / supply.max_volts
        amps = 0.01 * rated
        surge = float(rng.uniform(50, 320))
        acts.append(
            StepLoad(
                at_s=at_s + lasts, seconds=0.3, district=district, amps=amps, surge=surge, surge_s=float(rng.uniform(0.05, 0.2))
            )
        )
    return acts


def switched(rng: Rng, bench: BenchSpec, at_s: float) -> list[Act]:
    """A load on a track district that somebody switches on and off."""
    district = track(rng, bench)
    supply = bench.supplies[bench.districts[district].supply]
    amps = float(rng.uniform(0.1, 0.35)) * supply.rated_va / supply.max_volts
    return [
        StepLoad(at_s=at_s, seconds=float(rng.choice([rng.uniform(0.3, 1.5), rng.uniform(1.5, 8)])), district=district, amps=amps)
    ]


def slam(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """A throttle slammed shut, and opened again some seconds later."""
    down_s, up_s, shut_s = float(rng.uniform(0.08, 0.5)), float(rng.uniform(0.1, 1.5)), float(rng.uniform(4.0, 6.0))
    level = bench.districts[district].level
    return [
        Throttle(at_s=at_s, seconds=down_s, district=district, level=0.0),
        Throttle(at_s=at_s + down_s + shut_s, seconds=up_s, district=district, level=level),
    ]


def track(rng: Rng, bench: BenchSpec) -> int:
    """A track district."""
    return int(rng.choice([n for n, district in enumerate(bench.districts) if district.use == "track"]))


def apart(acts: list[Act]) -> tuple[Act, ...]:
    """Without breaks that begin within half a second of the end of an earlier one of the same district."""
    kept: list[Act] = []
    busy: dict[int, float] = {}
    for act in sorted(acts, key=lambda act: act.at_s):
        if isinstance(act, DirectionBreak):
            if act.at_s < busy.get(act.district, 0.0) + 0.5:
                continue
            busy[act.district] = act.at_s + act.seconds
        kept.append(act)
    return tuple(kept)
