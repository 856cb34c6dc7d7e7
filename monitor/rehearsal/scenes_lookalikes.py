"""Scenes in which one thing looks like another: whistles on hills, foldback beside shorts, crossings, mains that dip among losses.

Ranges are drawn wider than common practice suggests (no published source), for a diagnosis must not lean on them.
"""

from dataclasses import replace

from monitor.rehearsal.model_acts import (
    Act,
    Binding,
    ContactLoss,
    DcSignal,
    DirectionBreak,
    DropOut,
    FeedLost,
    Flicker,
    MainsDip,
    MainsWander,
    Short,
    StepLoad,
    Throttle,
    Transfer,
)
from monitor.rehearsal.model_specs import BenchSpec, ModelSpot, TrainSpec
from monitor.rehearsal.scene import ExpectedPattern, Scene
from monitor.rehearsal.scenes_acts import Rng, apart, lively, moments, presses, slam, switched, track, whistle
from monitor.rehearsal.scenes_draw import SceneRequest


def hills(rng: Rng) -> Scene:
    """Two trains a district on steep hills that coincide now and then, whistles blown on them: nothing is wrong."""
    bench = lively(rng, SceneRequest(share=(0.3, 0.6), breakers=("none",), trains=(1, 3), grade=(0.3, 2.0), dirt=0.2))
    acts: list[Act] = [_long_whistle(rng, track(rng, bench), at) for at in moments(rng, (6, 230), (2, 12))]
    return Scene(seconds=240.0, bench=bench, acts=_spaced(bench, acts), clean=True)


def rough_running(rng: Rng) -> Scene:
    """Brushes that spark, wheels that slip, loads that jerk, dirt everywhere, from supplies of any kind: nothing is wrong."""
    request = SceneRequest(
        share=(0.2, 0.6), breakers=("none",), trains=(1, 2), dirt=1.2, wave="dc" if rng.random() < 0.3 else "ac"
    )
    bench = lively(rng, request)
    trains = tuple(_rough(rng, train) for train in bench.trains)
    acts = [MainsWander(at_s=0.0, seconds=200.0, share=rng.uniform(0.003, 0.02), steps_a_minute=rng.uniform(0, 6))]
    return Scene(seconds=200.0, bench=replace(bench, trains=trains), acts=tuple(acts), clean=True)


def solenoid_pulses(rng: Rng) -> Scene:
    """Turnout motors and uncouplers fired from the rails, singly and in bursts, some of a capacitor: nothing is wrong."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (8, 170), (1.5, 12)):
        district = int(rng.integers(len(bench.districts)))
        rated = bench.supply_of(district).rated_amps
        pulse, pause, amps = rng.uniform(0.03, 0.6), rng.uniform(0.08, 0.9), rng.uniform(0.08, 0.45) * rated
        surge = float(rng.choice([1.0, rng.uniform(1.1, 2.0)]))
        acts += [
            StepLoad(at_s=at + n * (pulse + pause), seconds=pulse, district=district, amps=amps, surge=surge, surge_s=0.1)
            for n in range(int(rng.integers(1, 5)))
        ]
    return Scene(seconds=180.0, bench=bench, acts=tuple(acts), clean=True)


def gap_crossings(rng: Rng) -> Scene:
    """A train that crosses another district's rails for a moment, at the same place of each lap: nothing is wrong."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",)))
    acts: list[Act] = []
    for n in rng.permutation(len(bench.trains))[:2].tolist():
        here, lap_s = bench.trains[n].district, bench.trains[n].lap_s * rng.uniform(0.9, 1.1)
        there = int(rng.choice([k for k in bench.tracks if k != here]))
        across_s = float(rng.choice([rng.uniform(0.15, 0.6), rng.uniform(0.6, 3.0)]))
        at = rng.uniform(5, 20)
        while at < 185:
            roll_s = rng.uniform(0.08, 0.5) * min(across_s, 1.0)
            acts += [
                Transfer(at_s=at, seconds=roll_s, train=n, district=there),
                Transfer(at_s=at + across_s + roll_s, seconds=roll_s, train=n, district=here),
            ]
            at += lap_s * rng.uniform(0.96, 1.04) + across_s
    return Scene(seconds=200.0, bench=bench, acts=tuple(acts), clean=True)


def house_mains(rng: Rng) -> Scene:
    """House mains that waver, and dip of any depth and length among lost contacts."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.6), breakers=("none",), dirt=0.3))
    acts: list[Act] = [MainsWander(at_s=0.0, seconds=160.0, share=rng.uniform(0.002, 0.012), steps_a_minute=rng.uniform(0, 4))]
    for at in moments(rng, (10, 150), (4, 12)):
        lasts = float(rng.choice([rng.uniform(0.06, 0.2), rng.uniform(0.2, 2.5)]))
        level = float(rng.choice([0.0, rng.uniform(0.2, 0.85)], p=[0.08, 0.92]))
        acts.append(MainsDip(at_s=at, seconds=lasts, level=level, recover_s=float(rng.choice([0.0, rng.uniform(0.02, 0.5)]))))
        if rng.random() < 0.4:
            acts.append(_loss(rng, bench, at + float(rng.choice([-1.2, lasts + 0.7]))))
    return Scene(seconds=160.0, bench=bench, acts=tuple(acts))


def foldbacks(rng: Rng) -> Scene:
    """Limiters that fold back into a short instead of opening: neighbours lose their volts with it."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), breakers=("electronic",), written=("rating", "unknown", "nothing")))
    supplies = tuple(
        replace(
            s,
            breaker=replace(
                s.breaker,
                folds_to=rng.uniform(0.15, 1.3),
                instant_ratio=rng.uniform(1.2, 2.0),
                delay_s=rng.uniform(0.01, 0.2),
            ),
        )
        for s in bench.supplies
    )
    bench, acts = replace(bench, supplies=supplies), []
    for at in moments(rng, (15, 140), (10, 22)):
        district = track(rng, bench)
        source = bench.inner_ohms(district)
        left = rng.uniform(0.03, 0.3)
        acts.append(Short(at_s=at, seconds=rng.uniform(0.3, 6), district=district, ohms=left / (1 - left) * source, chatter=0.0))
    return Scene(seconds=150.0, bench=bench, acts=tuple(acts))


def scraping_shorts(rng: Rng) -> Scene:
    """Derailed wheels that scrape: shorts of any length that begin, bounce and clear by themselves."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.6), regulation=(0.04, 0.2), breakers=("thermal", "none"), tau_s=(30, 150)))
    acts: list[Act] = []
    for at in moments(rng, (12, 150), (5, 16)):
        district = track(rng, bench)
        source = bench.inner_ohms(district)
        for n in range(int(rng.integers(1, 3))):
            left, lasts = rng.uniform(0.04, 0.45), float(rng.choice([rng.uniform(0.05, 0.3), rng.uniform(0.3, 2.0)]))
            ohms, chatter = left / (1 - left) * source, float(rng.choice([0.0, rng.uniform(0.05, 0.5)]))
            acts.append(Short(at_s=at + 2.5 * n, seconds=lasts, district=district, ohms=ohms, chatter=chatter))
    return Scene(seconds=160.0, bench=bench, acts=tuple(acts))


def ageing_breakers(rng: Rng) -> Scene:
    """Breakers that open much sooner or later than their plate says, again and again, and hands that reset and press."""
    bench = lively(rng, SceneRequest(share=(0.4, 0.7), breakers=("thermal",), tau_s=(8, 60), written=("points", "rating")))
    supplies = tuple(
        replace(
            s,
            breaker=replace(
                s.breaker,
                spread=rng.uniform(0.35, 1.5),
                hold_ratio=s.breaker.hold_ratio * rng.uniform(0.9, 1.1),
                reset_after_s=rng.uniform(2, 12),
            ),
        )
        for s in bench.supplies
    )
    bench = replace(bench, supplies=supplies)
    supply = int(rng.integers(len(bench.supplies)))
    amps = bench.supplies[supply].breaker.rated_amps * rng.uniform(0.9, 2.0)
    district = int(rng.choice(bench.districts_of(supply)))
    acts: list[Act] = [StepLoad(at_s=rng.uniform(15, 30), seconds=120.0, district=district, amps=amps, overload=True)]
    for at in moments(rng, (10, 190), (3, 12)):
        acts += presses(rng, bench, track(rng, bench), at)
    return Scene(seconds=200.0, bench=bench, acts=apart(acts))


def loose_plugs(rng: Rng) -> Scene:
    """Feeds that let go and come back, clean or ragged, among presses and slammed throttles on the same district."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",)))
    acts: list[Act] = []
    for at in moments(rng, (12, 170), (9, 16)):
        district, kind = track(rng, bench), int(rng.integers(3))
        if kind == 0:
            acts += presses(rng, bench, district, at)
        elif kind == 1:
            acts += slam(rng, bench, district, at)
        else:
            lasts, ragged = float(rng.choice([rng.uniform(0.5, 3), rng.uniform(4, 7)])), rng.uniform(0.08, 0.5)
            acts.append(FeedLost(at_s=at, seconds=lasts, district=district, ragged_s=ragged if lasts < 3.5 else 0.0))
    return Scene(seconds=185.0, bench=bench, acts=tuple(acts))


def spot_of_two(rng: Rng) -> Scene:
    """A dirty place that acts on about every other pass, on hilly laps that look like two: laps must not be halved or doubled."""
    bench = lively(rng, SceneRequest(share=(0.25, 0.55), grade=(0.2, 0.9)))
    train = bench.trains[0]
    lasts, chance = (0.05, rng.uniform(0.1, 0.45)), rng.uniform(0.45, 0.9)
    spot = ModelSpot(district=train.district, place=rng.random(), chance=chance, seconds=lasts)
    seconds = 22 * train.lap_s
    acts: list[Act] = [Flicker(at_s=at, seconds=rng.uniform(0.02, 0.3), train=0) for at in moments(rng, (5, seconds), (4, 15))]
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(train.district,), lap_of=0)
    return Scene(seconds=seconds, bench=replace(bench, spots=(spot,)), acts=tuple(acts), pattern=pattern)


def everything(rng: Rng) -> Scene:
    """An evening with some of all that happens at a show, as close together as three seconds."""
    bench = lively(rng, SceneRequest(share=(0.2, 0.5), breakers=("none",), trains=(1, 2), dirt=0.3))
    acts: list[Act] = [MainsWander(at_s=0.0, seconds=240.0, share=rng.uniform(0.0, 0.008))]
    for at in moments(rng, (30, 225), (3, 9)):
        acts += _anything(rng, bench, at)
    return Scene(seconds=240.0, bench=bench, acts=_spaced(bench, acts))


def _anything(rng: Rng, bench: BenchSpec, at: float) -> list[Act]:
    train = int(rng.integers(len(bench.trains)))
    district = bench.trains[train].district
    stands_s, lasts = rng.uniform(1.5, 5), rng.uniform(3, 6)
    source = bench.inner_ohms(district)
    choices: list[list[Act]] = [
        [DropOut(at_s=at, seconds=stands_s, train=train), *presses(rng, bench, district, at + stands_s)],
        presses(rng, bench, district, at),
        [_long_whistle(rng, district, at)],
        slam(rng, bench, district, at),
        switched(rng, bench, at),
        [_loss(rng, bench, at)],
        [Binding(at_s=at, seconds=lasts, train=train, factor=rng.uniform(5, 30), rise_s=rng.uniform(0.05, 1.0))],
        [Short(at_s=at, seconds=rng.uniform(0.03, 0.6), district=district, ohms=rng.uniform(0.1, 0.6) * source)],
        [FeedLost(at_s=at, seconds=lasts, district=district, ragged_s=float(rng.choice([0.0, rng.uniform(0.1, 0.4)])))],
        [MainsDip(at_s=at, seconds=rng.uniform(0.08, 1.5), level=rng.uniform(0.3, 0.82))],
    ]
    return choices[int(rng.integers(len(choices)))]


def _spaced(bench: BenchSpec, acts: list[Act]) -> tuple[Act, ...]:
    """Without acts of one district that begin before an earlier one of it is over."""
    kept: list[Act] = []
    busy: dict[int, float] = {}
    for act in sorted(acts, key=lambda act: act.at_s):
        district = (
            bench.trains[act.train].district if isinstance(act, DropOut | Binding | ContactLoss) else getattr(act, "district", -1)
        )
        if isinstance(act, DropOut | DirectionBreak | StepLoad | Throttle) or act.at_s >= busy.get(district, 0.0) + 1.0:
            kept.append(act)
            busy[district] = max(busy.get(district, 0.0), act.at_s + act.seconds)
    return apart(kept)


def _loss(rng: Rng, bench: BenchSpec, at_s: float) -> ContactLoss:
    return ContactLoss(at_s=at_s, seconds=rng.uniform(0.04, 0.5), train=int(rng.integers(len(bench.trains))))


def _long_whistle(rng: Rng, district: int, at_s: float) -> DcSignal:
    """A whistle or a bell of any length, from a controller that raises the volts meanwhile."""
    return replace(whistle(rng, district, at_s), seconds=rng.uniform(0.3, 8.0), boost=rng.uniform(0.0, 0.3))


def _rough(rng: Rng, train: TrainSpec) -> TrainSpec:
    return replace(
        train,
        ripple=rng.uniform(0, 0.2),
        hash_noise=rng.uniform(0, 0.2),
        wobble=rng.uniform(0.02, 0.16),
        wheel_turns=rng.uniform(15, 250),
    )
