"""What scenes are put together from: moments, the deliberate acts that every session is full of, contact losses, livelier benches."""

from dataclasses import replace

import numpy as np

from monitor.rehearsal.model_acts import Act, ContactLoss, DcSignal, DirectionBreak, StepLoad, Throttle
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench
from monitor.rehearsal.stream import LineStyle

Rng = np.random.Generator


def moments(rng: Rng, span: tuple[float, float], gap: tuple[float, float]) -> list[float]:
    """Times from span[0] to span[1] with random gaps between them."""
    out, at = [], span[0] + rng.uniform(0, gap[0])
    while at < span[1]:
        out.append(at)
        at += rng.uniform(*gap)
    return out


def deliberate(rng: Rng, bench: BenchSpec, span: tuple[float, float], gap: tuple[float, float] = (5.0, 14.0)) -> list[Act]:
    """Whistles, direction breaks and throttle moves on the track districts, never two on one supply at once."""
    acts: list[Act] = []
    at = span[0] + rng.uniform(0, gap[0])
    while bench.tracks and at < span[1] - 8:
        district = track(rng, bench)
        made = one_deliberate(rng, bench, district, at)
        acts += made
        at = max(act.at_s + act.seconds for act in made) + rng.uniform(*gap)
    return acts


def one_deliberate(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """One deliberate act in a district, at a time."""
    is_ac = bench.supply_of(district).current == "ac"
    kind = str(rng.choice(["dc-signal", "break", "throttle"] if is_ac else ["break", "throttle"]))
    if kind == "dc-signal":
        return [whistle(rng, district, at_s)]
    if kind == "throttle":
        level = bench.districts[district].level * rng.uniform(0.75, 1.08)
        return [Throttle(at_s=at_s, seconds=rng.uniform(0.4, 3.5), district=district, level=min(level, 1.0))]
    return breaks(rng, district, at_s)


def whistle(rng: Rng, district: int, at_s: float) -> DcSignal:
    """A press on the whistle or the bell."""
    return DcSignal(
        at_s=at_s,
        seconds=rng.uniform(0.4, 3.5),
        district=district,
        volts=rng.uniform(1.2, 5.0) * float(rng.choice([-1, 1])),
        boost=float(rng.choice([0.0, rng.uniform(0.02, 0.15)])),
        edge_s=float(rng.choice([0.0, rng.uniform(0.02, 0.12)])),
    )


def breaks(rng: Rng, district: int, at_s: float) -> list[Act]:
    """One break, or two with neutral between them."""
    edge_s = float(rng.choice([0.0, rng.uniform(0.01, 0.08)]))
    first = rng.uniform(0.2, 1.2) if rng.random() < 0.85 else rng.uniform(1.2, 2.8)
    if rng.random() < 0.4:
        return [DirectionBreak(at_s=at_s, seconds=first, district=district, edge_s=edge_s)]
    neutral_s = rng.uniform(2.2, 5.5)
    second = rng.uniform(0.25, 1.0)
    return [
        DirectionBreak(at_s=at_s, seconds=first, district=district, edge_s=edge_s, neutral_s=neutral_s),
        DirectionBreak(at_s=at_s + first + neutral_s, seconds=second, district=district, edge_s=edge_s),
    ]


def contact_losses(rng: Rng, train: int, span: tuple[float, float], gap: tuple[float, float]) -> list[Act]:
    """A train whose pickups are dirty, at random times."""
    cars_too = bool(rng.random() < 0.35)
    return [
        ContactLoss(at_s=at, seconds=rng.uniform(0.035, 0.45), train=train, cars_too=cars_too) for at in moments(rng, span, gap)
    ]


def solenoids(rng: Rng, bench: BenchSpec, span: tuple[float, float], gap: tuple[float, float] = (12.0, 40.0)) -> list[Act]:
    """Turnout motors fired now and then from the accessories' output, well inside what the supply can give."""
    out: list[Act] = []
    places = [n for n, district in enumerate(bench.districts) if district.use == "accessories"]
    for at in moments(rng, span, gap) if places else []:
        district = int(rng.choice(places))
        amps = min(rng.uniform(1.0, 3.0), 0.2 * bench.supply_of(district).rated_amps)
        out.append(StepLoad(at_s=at, seconds=rng.uniform(0.2, 0.8), district=district, amps=amps))
    return out


def lively(rng: Rng, request: SceneRequest) -> BenchSpec:
    """A bench whose trains ripple with their wheels, and whose contact is less than perfect."""
    bench = draw_bench(rng, request)
    trains = tuple(
        replace(
            train,
            ripple=rng.uniform(0.0, 0.09),
            wheel_turns=rng.uniform(30, 160),
            hash_noise=rng.uniform(0.005, 0.08),
            car_amps=train.car_amps * rng.uniform(0.5, 1.8),
            dirt_rate=max(train.dirt_rate, rng.uniform(0, request.dirt)),
        )
        for train in bench.trains
    )
    return replace(bench, trains=trains)


def presses(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """A hand's press, and the inrush of what hangs on the rails when the volts come back."""
    lasts = rng.uniform(0.25, 0.9)
    supply = bench.supply_of(district)
    acts: list[Act] = [DirectionBreak(at_s=at_s, seconds=lasts, district=district)]
    if rng.random() < 0.7:
        amps = 0.01 * supply.rated_amps
        surge = rng.uniform(50, 320)
        acts.append(
            StepLoad(at_s=at_s + lasts, seconds=0.3, district=district, amps=amps, surge=surge, surge_s=rng.uniform(0.05, 0.2))
        )
    return acts


def switched(rng: Rng, bench: BenchSpec, at_s: float) -> list[Act]:
    """A load on a track district that somebody switches on and off."""
    district = track(rng, bench)
    amps = rng.uniform(0.1, 0.35) * bench.supply_of(district).rated_amps
    return [
        StepLoad(at_s=at_s, seconds=float(rng.choice([rng.uniform(0.3, 1.5), rng.uniform(1.5, 8)])), district=district, amps=amps)
    ]


def slam(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """A throttle slammed shut, and opened again some seconds later."""
    down_s, up_s, shut_s = rng.uniform(0.08, 0.5), rng.uniform(0.1, 1.5), rng.uniform(4.0, 6.0)
    level = bench.districts[district].level
    return [
        Throttle(at_s=at_s, seconds=down_s, district=district, level=0.0),
        Throttle(at_s=at_s + down_s + shut_s, seconds=up_s, district=district, level=level),
    ]


def track(rng: Rng, bench: BenchSpec) -> int:
    """A track district."""
    return int(rng.choice(bench.tracks))


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


def lines_of(rng: Rng, scene: Scene) -> Scene:
    """A scene as a line board tells it."""
    style = LineStyle(
        interval_ms=int(rng.choice([50, 100, 100, 100, 200])),
        checksums=float(rng.choice([0.0, 1.0, rng.random()])),
        watts=float(rng.choice([0.0, 1.0, rng.random()])),
        jitter_ms=int(rng.integers(0, 4)),
        damaged=float(rng.choice([0.0, 0.002])),
        start_ms=int(rng.choice([0, int(rng.integers(0, 1 << 20)), (1 << 32) - 40_000])),
    )
    return replace(scene, lines=style)
