"""Scenes of a livelier world: reversing units that drop out, inrush, hands on every lever, wheels across turnouts, weak sections.

Ranges are drawn wider than common practice suggests (no published source), for a diagnosis must not lean on them.
"""

from dataclasses import replace

from monitor.rehearsal.model_acts import (
    Act,
    Binding,
    ContactLoss,
    DropOut,
    Flicker,
    Short,
    StepLoad,
    Transfer,
)
from monitor.rehearsal.model_specs import BenchSpec, ModelSpot
from monitor.rehearsal.scene import ExpectedPattern, Scene
from monitor.rehearsal.scenes_acts import Rng, apart, lively, moments, presses, slam, solenoids, switched, track, whistle
from monitor.rehearsal.scenes_draw import SceneRequest


def drop_outs(rng: Rng) -> Scene:
    """Trains that stand in neutral after a lost contact until a hand steps them on."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.6)))
    acts: list[Act] = []
    for at in moments(rng, (14, 170), (9, 22)):
        train = int(rng.integers(len(bench.trains)))
        stands_s = rng.uniform(1.5, 6.5)
        acts.append(DropOut(at_s=at, seconds=stands_s, train=train))
        acts += presses(rng, bench, bench.trains[train].district, at + stands_s)
    return Scene(seconds=180.0, bench=bench, acts=tuple(acts))


def sudden_stalls(rng: Rng) -> Scene:
    """Trains that are blocked within a moment, beside loads that are switched on."""
    bench = lively(rng, SceneRequest(share=(0.15, 0.4), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (32, 150), (16, 26)):
        if rng.random() < 0.4:
            acts += switched(rng, bench, at)
            continue
        train, lasts = int(rng.integers(len(bench.trains))), rng.uniform(3, 9)
        stall = Binding(at_s=at, seconds=lasts, train=train, factor=rng.uniform(8, 40), rise_s=rng.uniform(0.01, 0.3))
        acts += [stall]
        if rng.random() < 0.5:
            acts += slam(rng, bench, bench.trains[train].district, at + lasts - 0.3)
    return Scene(seconds=170.0, bench=bench, acts=tuple(acts))


def bridged_turnouts(rng: Rng) -> Scene:
    """Wheels that bridge a turnout for a moment on supplies too stiff for the volts to collapse."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.5), regulation=(0.03, 0.07), breakers=("thermal", "none"), wave="sine"))
    span = 9 * max(supply.rated_amps for supply in bench.supplies)
    districts = tuple(replace(district, feeder_ohms=0.0) for district in bench.districts)
    bench = replace(bench, districts=districts, converter=replace(bench.converter, amps_span=span))
    acts: list[Act] = []
    for at in moments(rng, (12, 130), (5, 15)):
        district = track(rng, bench)
        ohms = _bridge_ohms(rng, bench, district)
        lasts = float(rng.choice([rng.uniform(0.02, 0.06), rng.uniform(0.06, 0.25)]))
        acts.append(Short(at_s=at, seconds=lasts, district=district, ohms=ohms))
    return Scene(seconds=140.0, bench=bench, acts=tuple(acts))


def _bridge_ohms(rng: Rng, bench: BenchSpec, district: int) -> float:
    """Ohms that draw well over 2.5 times the rating and leave up to 80 % of the volts; where no ohms do, a plain short's."""
    supply, inner = bench.supply_of(district), bench.inner_ohms(district)
    wanted = rng.uniform(3.0, 8.0) * max(supply.breaker.rated_amps, supply.rated_amps)
    left = 1 - wanted * inner / (supply.volts_open * bench.districts[district].level)
    left = left if 0.1 < left < 0.8 else rng.uniform(0.15, 0.55)
    return left / (1 - left) * inner


def hands_everywhere(rng: Rng) -> Scene:
    """Overloads that open the protection, and hands that press every lever afterwards."""
    bench = lively(rng, SceneRequest(share=(0.45, 0.7), breakers=("thermal",), tau_s=(10, 40), written=("points",)))
    acts: list[Act] = []
    supply = int(rng.integers(len(bench.supplies)))
    places = bench.districts_of(supply)
    rated = bench.supplies[supply].breaker.rated_amps
    at = rng.uniform(20, 30)
    acts.append(
        StepLoad(at_s=at, seconds=60.0, district=int(rng.choice(places)), amps=rated * rng.uniform(1.0, 2.2), overload=True)
    )
    for at_s in moments(rng, (10, 190), (0.6, 6.0)):
        acts += presses(rng, bench, track(rng, bench), at_s)
    return Scene(seconds=200.0, bench=bench, acts=apart(acts))


def flickers(rng: Rng) -> Scene:
    """Lit cars with dirty wheels: lights flicker all the time, and engines run on."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), dirt=0.4))
    acts: list[Act] = [
        Flicker(at_s=at, seconds=rng.uniform(0.015, 0.3), train=int(rng.integers(len(bench.trains))))
        for at in moments(rng, (5, 175), (0.4, 4.0))
    ]
    acts += [whistle(rng, track(rng, bench), at) for at in moments(rng, (8, 170), (9, 25))]
    return Scene(seconds=180.0, bench=bench, acts=tuple(acts), clean=True)


def slammed(rng: Rng) -> Scene:
    """Throttles slammed shut and pulled open, and trains that then start."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (12, 150), (10, 16)):
        acts += slam(rng, bench, track(rng, bench), at)
    return Scene(seconds=165.0, bench=bench, acts=tuple(acts), clean=True)


def weak_sections(rng: Rng) -> Scene:
    """A stretch of track that is fed through a bad joint: amps sag all the way along it."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.5)))
    train = bench.trains[0]
    longest = min(7.0, 0.35 * train.lap_s)
    low = rng.uniform(0.7, longest)
    spot = ModelSpot(
        district=train.district,
        place=rng.random(),
        chance=1.0,
        seconds=(low, low * 1.15),
        joint_ohms=(rng.uniform(1.5, 4.0), rng.uniform(4.0, 7.0)),
    )
    bench = replace(bench, spots=(spot,))
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(train.district,), lap_of=0)
    return Scene(seconds=14 * train.lap_s, bench=bench, pattern=pattern)


def crossings(rng: Rng) -> Scene:
    """Trains that change districts all the time, whistles, loads switched on and off: nothing is wrong."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",), trains=(1, 2)))
    here = [train.district for train in bench.trains]
    acts: list[Act] = []
    for at in moments(rng, (10, 190), (3, 9)):
        goer = int(rng.integers(len(here)))
        there = int(rng.choice([n for n in bench.tracks if n != here[goer]]))
        acts.append(Transfer(at_s=at, seconds=rng.uniform(0.3, 3.0), train=goer, district=there))
        here[goer] = there
    for at in moments(rng, (12, 185), (6, 20)):
        acts += switched(rng, bench, at) if rng.random() < 0.5 else [whistle(rng, track(rng, bench), at)]
    acts += solenoids(rng, bench, (10, 190), (5, 15))
    return Scene(seconds=200.0, bench=bench, acts=tuple(acts), clean=True)


def chattering(rng: Rng) -> Scene:
    """Contacts that chatter, with whole losses among and after the chatter."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), dirt=0.3))
    acts: list[Act] = []
    for at in moments(rng, (12, 165), (5, 12)):
        train, at_s = int(rng.integers(len(bench.trains))), at
        for _ in range(int(rng.integers(1, 4))):
            lasts = rng.uniform(0.05, 0.4)
            acts.append(ContactLoss(at_s=at_s, seconds=lasts, train=train))
            at_s += lasts + rng.uniform(0.35, 0.9)
    return Scene(seconds=170.0, bench=bench, acts=tuple(acts))
