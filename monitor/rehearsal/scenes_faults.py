"""Scenes with one kind of fault each, and one with many."""

from monitor.rehearsal.model_acts import Act, Binding, DirectionBreak, FeedLost, MainsDip, Short, StepLoad
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_acts import Rng, contact_losses, deliberate, moments, one_deliberate, track
from monitor.rehearsal.scenes_draw import SceneRequest, any_wave, draw_bench


def direct_current(rng: Rng) -> Scene:
    """A DC layout with dirty trains."""
    bench = draw_bench(rng, SceneRequest(wave="dc"))
    acts: list[Act] = []
    for n in rng.permutation(len(bench.trains))[:2]:
        acts += contact_losses(rng, int(n), (10, 145), (3.0, 24.0))
    return Scene(seconds=150.0, bench=bench, acts=tuple(acts))


def short(rng: Rng) -> Scene:
    """Derailments: some open the protection, some are cleared by hand before."""
    request = SceneRequest(breakers=("thermal", "thermal", "electronic", "fuse"), tau_s=(15, 80))
    bench = draw_bench(rng, request)
    seconds, at, acts = rng.uniform(100, 150), rng.uniform(15, 35), []
    while at < seconds - 25:
        lasts = float(rng.choice([rng.uniform(0.08, 0.6), rng.uniform(0.6, 5)]))
        district = track(rng, bench)
        acts.append(
            Short(
                at_s=at,
                seconds=lasts,
                district=district,
                ohms=_short_ohms(rng, bench, district),
                chatter=float(rng.choice([0.0, rng.uniform(0.05, 0.4)])),
            )
        )
        at += lasts + rng.uniform(18, 40)
    return Scene(seconds=seconds, bench=bench, acts=tuple(acts))


def feed_lost(rng: Rng) -> Scene:
    """Connectors that let go."""
    bench = draw_bench(rng, SceneRequest())
    acts: list[Act] = []
    at = rng.uniform(12, 25)
    while at < 118:
        is_long = bool(rng.random() < 0.6)
        lasts = rng.uniform(4, 12) if is_long else rng.uniform(0.5, 2.5)
        ragged = rng.uniform(0.08, 0.5) if not is_long or rng.random() < 0.7 else 0.0
        acts.append(FeedLost(at_s=at, seconds=lasts, district=track(rng, bench), ragged_s=ragged))
        at += lasts + rng.uniform(7, 14)
    return Scene(seconds=130.0, bench=bench, acts=tuple(acts))


def mains_dip(rng: Rng) -> Scene:
    """The whole house dips."""
    bench = draw_bench(rng, SceneRequest())
    acts = [_dip(rng, at) for at in moments(rng, (12, 100), (7, 18))]
    return Scene(seconds=110.0, bench=bench, acts=tuple(acts))


def supply_sag(rng: Rng) -> Scene:
    """A weak supply and heavy loads that come and go."""
    request = SceneRequest(wave="sine", share=(0.2, 0.4), regulation=(0.2, 0.34), breakers=("thermal", "none"), tau_s=(60, 150))
    bench = draw_bench(rng, request)
    supply = int(rng.integers(0, len(bench.supplies)))
    places = bench.districts_of(supply)
    rated = bench.supplies[supply].rated_amps
    acts: list[Act] = [
        StepLoad(
            at_s=at,
            seconds=rng.uniform(1.5, 5),
            district=int(rng.choice(places)),
            amps=rated * rng.uniform(0.45, 0.7),
            surge=float(rng.choice([1.0, rng.uniform(1.1, 1.8)])),
            sag="expected",
        )
        for at in moments(rng, (18, 140), (10, 22))
    ]
    return Scene(seconds=150.0, bench=bench, acts=tuple(acts))


def binding(rng: Rng) -> Scene:
    """Running gear that binds."""
    bench = draw_bench(rng, SceneRequest(share=(0.3, 0.5), breakers=("thermal", "none"), tau_s=(80, 200)))
    return Scene(seconds=140.0, bench=bench, acts=tuple(_bindings(rng, bench, (28, 130))))


def mixed(rng: Rng, request: SceneRequest | None = None) -> Scene:
    """An evening with a bit of everything."""
    bench = draw_bench(rng, request or SceneRequest(share=(0.3, 0.55)))
    train = int(rng.integers(0, len(bench.trains)))
    acts = deliberate(rng, bench, (8, 195), (4, 12)) + contact_losses(rng, train, (25, 195), (4, 22))
    acts.append(_dip(rng, rng.uniform(60, 120)))
    acts.append(Binding(at_s=140.0, seconds=rng.uniform(4, 9), train=train, factor=_bind_factor(rng), rise_s=0.5))
    acts.append(FeedLost(at_s=rng.uniform(170, 180), seconds=5.0, district=track(rng, bench), ragged_s=0.3))
    return Scene(seconds=200.0, bench=bench, acts=tuple(_spaced(acts)))


def wide_mixed(rng: Rng) -> Scene:
    """The same on a layout of any size, from any kind of supply."""
    return mixed(rng, any_wave(rng))


def wide_confusable(rng: Rng) -> Scene:
    """Look-alikes on a layout of any size, from any kind of supply."""
    return confusable(rng, any_wave(rng))


def confusable(rng: Rng, request: SceneRequest | None = None) -> Scene:
    """Deliberate acts and their look-alikes in turn, on one layout."""
    bench = draw_bench(rng, request or SceneRequest(share=(0.3, 0.55)))
    acts: list[Act] = []
    for at in moments(rng, (12, 185), (8, 13)):
        district = track(rng, bench)
        on_it = [n for n, train in enumerate(bench.trains) if train.district == district]
        kind = int(rng.integers(0, 4))
        if kind == 0:
            acts.append(FeedLost(at_s=at, seconds=rng.uniform(0.6, 5), district=district, ragged_s=rng.uniform(0.1, 0.4)))
        elif kind == 1 and on_it:
            acts += contact_losses(rng, on_it[0], (at, at + 2), (0.9, 4.0))
        elif kind == 2:
            acts.append(_dip(rng, at))
        else:
            acts += one_deliberate(rng, bench, district, at)
    return Scene(seconds=200.0, bench=bench, acts=tuple(_spaced(acts)))


def _bindings(rng: Rng, bench: BenchSpec, span: tuple[float, float]) -> list[Act]:
    return [
        Binding(
            at_s=at,
            seconds=rng.uniform(3.5, 10),
            train=int(rng.integers(0, len(bench.trains))),
            factor=_bind_factor(rng),
            rise_s=rng.uniform(0.15, 1.5),
        )
        for at in moments(rng, span, (17, 28))
    ]


def _short_ohms(rng: Rng, bench: BenchSpec, district: int) -> float:
    """Ohms of a derailment that leaves 6 to 45 % of the volts (common practice, no published source: 10 to 50 %)."""
    left = rng.uniform(0.06, 0.45)
    return left / (1 - left) * (bench.inner_ohms(district) + bench.districts[district].feeder_ohms)


def _bind_factor(rng: Rng) -> float:
    return rng.uniform(2.6, 5.0)


def _dip(rng: Rng, at_s: float) -> MainsDip:
    return MainsDip(
        at_s=at_s,
        seconds=float(rng.choice([rng.uniform(0.06, 0.5), rng.uniform(0.5, 3)])),
        level=rng.uniform(0.35, 0.85),
        recover_s=float(rng.choice([0.0, rng.uniform(0.05, 0.6)])),
        jump_rad=float(rng.choice([0.0, rng.uniform(-0.4, 0.4)])),
    )


def _spaced(acts: list[Act]) -> list[Act]:
    """Acts in order of time, without those that begin within two seconds of the end of an earlier one.

    The break that ends a neutral belongs to the one that began it: nothing comes between them.
    """
    kept: list[Act] = []
    busy_until, partner_at = -10.0, -10.0
    for act in sorted(acts, key=lambda act: act.at_s):
        is_partner = isinstance(act, DirectionBreak) and abs(act.at_s - partner_at) < 1e-6
        if act.at_s < busy_until + 2.0 and not is_partner:
            continue
        kept.append(act)
        busy_until = act.at_s + act.seconds
        if isinstance(act, DirectionBreak) and act.neutral_s:
            partner_at = busy_until = busy_until + act.neutral_s
    return kept
