"""Runs of acts drawn at random: the deliberate ones that every session is full of, and contact losses."""

import numpy as np

from monitor.rehearsal.model_acts import Act, ContactLoss, DcSignal, DirectionBreak, StepLoad, Throttle
from monitor.rehearsal.model_specs import BenchSpec

Rng = np.random.Generator


def moments(rng: Rng, span: tuple[float, float], gap: tuple[float, float]) -> list[float]:
    """Times from span[0] to span[1] with random gaps between them."""
    out, at = [], span[0] + float(rng.uniform(0, gap[0]))
    while at < span[1]:
        out.append(at)
        at += float(rng.uniform(*gap))
    return out


def deliberate(rng: Rng, bench: BenchSpec, span: tuple[float, float], gap: tuple[float, float] = (5.0, 14.0)) -> list[Act]:
    """Whistles, direction breaks and throttle moves on the track districts, never two on one supply at once."""
    tracks = [n for n, district in enumerate(bench.districts) if district.use == "track"]
    acts: list[Act] = []
    at = span[0] + float(rng.uniform(0, gap[0]))
    while tracks and at < span[1] - 8:
        district = int(rng.choice(tracks))
        made = one_deliberate(rng, bench, district, at)
        acts += made
        at = max(act.at_s + act.seconds for act in made) + float(rng.uniform(*gap))
    return acts


def one_deliberate(rng: Rng, bench: BenchSpec, district: int, at_s: float) -> list[Act]:
    """One deliberate act in a district, at a time."""
    is_ac = bench.supplies[bench.districts[district].supply].current == "ac"
    kind = str(rng.choice(["dc-signal", "break", "throttle"] if is_ac else ["break", "throttle"]))
    if kind == "dc-signal":
        return [whistle(rng, district, at_s)]
    if kind == "throttle":
        level = bench.districts[district].level * float(rng.uniform(0.75, 1.08))
        return [Throttle(at_s=at_s, seconds=float(rng.uniform(0.4, 3.5)), district=district, level=min(level, 1.0))]
    return breaks(rng, district, at_s)


def whistle(rng: Rng, district: int, at_s: float) -> DcSignal:
    """A press on the whistle or the bell."""
    return DcSignal(
        at_s=at_s,
        seconds=float(rng.uniform(0.4, 3.5)),
        district=district,
        volts=float(rng.uniform(1.2, 5.0)) * float(rng.choice([-1, 1])),
        boost=float(rng.choice([0.0, rng.uniform(0.02, 0.15)])),
        edge_s=float(rng.choice([0.0, rng.uniform(0.02, 0.12)])),
    )


def breaks(rng: Rng, district: int, at_s: float) -> list[Act]:
    """One break, or two with neutral between them."""
    edge_s = float(rng.choice([0.0, rng.uniform(0.01, 0.08)]))
    first = float(rng.uniform(0.2, 1.2)) if rng.random() < 0.85 else float(rng.uniform(1.2, 2.8))
    if rng.random() < 0.4:
        return [DirectionBreak(at_s=at_s, seconds=first, district=district, edge_s=edge_s)]
    neutral_s = float(rng.uniform(2.2, 5.5))
    second = float(rng.uniform(0.25, 1.0))
    return [
        DirectionBreak(at_s=at_s, seconds=first, district=district, edge_s=edge_s, neutral_s=neutral_s),
        DirectionBreak(at_s=at_s + first + neutral_s, seconds=second, district=district, edge_s=edge_s),
    ]


def contact_losses(rng: Rng, train: int, span: tuple[float, float], gap: tuple[float, float]) -> list[Act]:
    """A train whose pickups are dirty, at random times."""
    cars_too = bool(rng.random() < 0.35)
    return [
        ContactLoss(at_s=at, seconds=float(rng.uniform(0.035, 0.45)), train=train, cars_too=cars_too)
        for at in moments(rng, span, gap)
    ]


def solenoids(rng: Rng, bench: BenchSpec, span: tuple[float, float], gap: tuple[float, float] = (12.0, 40.0)) -> list[Act]:
    """Turnout motors fired now and then from the accessories' output, well inside what the supply can give."""
    out: list[Act] = []
    places = [n for n, district in enumerate(bench.districts) if district.use == "accessories"]
    for at in moments(rng, span, gap) if places else []:
        district = int(rng.choice(places))
        supply = bench.supplies[bench.districts[district].supply]
        amps = min(float(rng.uniform(1.0, 3.0)), 0.2 * supply.rated_va / supply.max_volts)
        out.append(StepLoad(at_s=at, seconds=float(rng.uniform(0.2, 0.8)), district=district, amps=amps))
    return out
