"""Scenes whose events have something in common: a place, a train, or nothing."""

from dataclasses import replace

from monitor.rehearsal.model_acts import Act, Throttle, Transfer
from monitor.rehearsal.model_specs import BenchSpec, ModelSpot
from monitor.rehearsal.scene import ExpectedPattern, Scene
from monitor.rehearsal.scenes_acts import Rng, contact_losses, moments, whistle
from monitor.rehearsal.scenes_draw import SceneRequest, any_wave, draw_bench, draw_train

_LAPS_WANTED = 13


def fixed_spot(rng: Rng) -> Scene:
    """A dirty place on one district's track."""
    bench, district, train = _with_spot(rng, _contact_spot(rng))
    seconds = _seconds(bench, train)
    acts = [whistle(rng, district, at) for at in moments(rng, (10, seconds - 8), (18, 60))] if _is_ac(bench, district) else []
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(district,), lap_of=train)
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), pattern=pattern)


def wide_spot(rng: Rng) -> Scene:
    """The same on a layout of any size, from any kind of supply."""
    request = any_wave(rng)
    bench, district, train = _with_spot(rng, _contact_spot(rng), request)
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(district,), lap_of=train)
    return Scene(seconds=_seconds(bench, train), bench=bench, pattern=pattern)


def changing_speed(rng: Rng) -> Scene:
    """The same while a hand changes the speed now and then: places recur, times do not."""
    bench, district, train = _with_spot(rng, _contact_spot(rng))
    seconds = _seconds(bench, train) * 1.1
    level = bench.districts[district].level
    acts = [
        Throttle(
            at_s=at,
            seconds=rng.uniform(0.5, 2.5),
            district=district,
            level=min(level * rng.uniform(0.88, 1.08), 1.0),
        )
        for at in moments(rng, (20, seconds - 8), (30, 70))
    ]
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(district,))
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), pattern=pattern)


def two_trains(rng: Rng) -> Scene:
    """The same with two trains going round at their own speeds."""
    bench, district, train = _with_spot(rng, _contact_spot(rng))
    first = bench.trains[train]
    second = draw_train(rng, "Second train", district, amps=(0.8, 1.8), is_dc=not _is_ac(bench, district))
    second = replace(second, lap_s=first.lap_s * rng.uniform(0.85, 1.2), run_volts=first.run_volts)
    bench = replace(bench, trains=(*bench.trains, second))
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(district,))
    return Scene(seconds=_seconds(bench, train), bench=bench, pattern=pattern)


def weak_joint(rng: Rng) -> Scene:
    """A rail joint that lets part of the current through."""
    spot = ModelSpot(district=0, place=rng.random(), chance=1.0, seconds=(0.6, 1.6), joint_ohms=_spread(rng, 2.5, 9.0))
    bench, district, train = _with_spot(rng, spot)
    pattern = ExpectedPattern(verdict="fixed-spot", districts=(district,), lap_of=train)
    return Scene(seconds=_seconds(bench, train), bench=bench, pattern=pattern)


def follows_train(rng: Rng) -> Scene:
    """A train with dirty pickups that is driven from one district to another and back."""
    bench = draw_bench(rng, SceneRequest(share=(0.3, 0.5)), supplies=int(rng.choice([1, 2])))
    one, other = (int(n) for n in rng.permutation(bench.tracks)[:2])
    train = next(n for n, candidate in enumerate(bench.trains) if candidate.district == one)
    seconds = rng.uniform(240, 320)
    acts: list[Act] = contact_losses(rng, train, (8, seconds - 5), (3.0, 14.0))
    here, at = one, rng.uniform(18, 40)
    while at < seconds - 10:
        here = other if here == one else one
        acts.append(Transfer(at_s=at, seconds=rng.uniform(0.6, 2.0), train=train, district=here))
        at += rng.uniform(18, 50)
    pattern = ExpectedPattern(verdict="follows-train", districts=(one, other))
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), pattern=pattern)


def scattered(rng: Rng) -> Scene:
    """Dirt all over one district: no place, no time."""
    bench = draw_bench(rng, SceneRequest(share=(0.3, 0.55)))
    train = int(rng.integers(0, len(bench.trains)))
    seconds = rng.uniform(240, 320)
    acts = contact_losses(rng, train, (8, seconds - 5), (2.0, 17.0))
    pattern = ExpectedPattern(verdict="scattered", districts=(bench.trains[train].district,))
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts), pattern=pattern)


def _contact_spot(rng: Rng) -> ModelSpot:
    return ModelSpot(district=0, place=rng.random(), chance=rng.uniform(0.75, 1.0), seconds=_spread(rng, 0.04, 0.35))


def _spread(rng: Rng, low: float, high: float) -> tuple[float, float]:
    a, b = sorted(rng.uniform(low, high, 2))
    return float(a), float(max(b, a * 1.3))


def _with_spot(rng: Rng, spot: ModelSpot, request: SceneRequest | None = None) -> tuple[BenchSpec, int, int]:
    """A bench with the spot on one of its track districts; also the district and the train that goes round there."""
    bench = draw_bench(rng, request or SceneRequest(share=(0.3, 0.55)))
    train = int(rng.integers(0, len(bench.trains)))
    district = bench.trains[train].district
    return replace(bench, spots=(replace(spot, district=district),)), district, train


def _seconds(bench: BenchSpec, train: int) -> float:
    return min(max(bench.trains[train].lap_s * _LAPS_WANTED * 1.15, 180.0), 360.0)


def _is_ac(bench: BenchSpec, district: int) -> bool:
    return bench.supply_of(district).current == "ac"
