"""Hours of normal running as busy as a show evening: nothing in them is wrong."""

import zlib

import numpy as np

from monitor.rehearsal.model_acts import StepLoad, Throttle, Transfer
from monitor.rehearsal.scene import Scene
from monitor.rehearsal.scenes_acts import one_deliberate
from monitor.rehearsal.scenes_draw import SceneRequest, draw_bench

WAVES = ("sine", "phase-cut", "sine", "dc")
PART_S = 1800.0


def busy_evening(seed, seconds=PART_S):
    """Another layout for each seed, its trains taking up to three quarters of each supply's rating, on dirty track.

    Every 4 to 12 s somebody blows a whistle, breaks for the direction, moves a throttle, takes an engine off and sets it back
    (a start), turns a district off and on again (cold lamps and starts) or fires a turnout.
    """
    rng = np.random.default_rng([seed, zlib.crc32(b"busy evening")])
    wish = SceneRequest(wave=WAVES[seed % len(WAVES)], share=(0.55, 0.75), trains=(1, 2), dirt=0.4)
    bench = draw_bench(rng, wish)
    acts, at = [], 6.0
    while at < seconds - 40:
        made, lasts_s = _act(rng, bench, at)
        acts += made
        at += lasts_s + float(rng.uniform(4, 12))
    return Scene(name="busy-evening", seed=seed, seconds=seconds, bench=bench, acts=tuple(acts), clean=True)


def _act(rng, bench, at):
    kind = str(rng.choice(["hand", "hand", "hand", "engine", "district", "turnout"]))
    away_s = float(rng.uniform(4, 20))
    if kind == "engine":
        train = int(rng.integers(len(bench.trains)))
        gone = Transfer(at_s=at, seconds=1.0, train=train, district=-1)
        back = Transfer(at_s=at + away_s, seconds=float(rng.uniform(0.3, 2)), train=train, district=bench.trains[train].district)
        return [gone, back], away_s + 2
    if kind == "district":
        district = int(rng.integers(len(bench.districts)))
        level, over_s = bench.districts[district].level, float(rng.choice([0.002, rng.uniform(0.5, 4)]))
        off = Throttle(at_s=at, seconds=over_s, district=district, level=0.0)
        return [off, Throttle(at_s=at + over_s + away_s, seconds=over_s, district=district, level=level)], away_s + 2 * over_s
    if kind == "turnout":
        district = int(rng.choice([n for n, d in enumerate(bench.districts) if d.use == "accessories"]))
        supply = bench.supplies[bench.districts[district].supply]
        amps = min(float(rng.uniform(1.0, 3.0)), 0.2 * supply.rated_va / supply.max_volts)
        return [StepLoad(at_s=at, seconds=float(rng.uniform(0.2, 0.8)), district=district, amps=amps)], 1.0
    tracks = [n for n, d in enumerate(bench.districts) if d.use == "track"]
    made = one_deliberate(rng, bench, int(rng.choice(tracks)), at)
    return made, max(act.at_s + act.seconds for act in made) - at
