"""Measure how well the demo's bad spot is told over an evening, against where its train really was.

    python tests/bench/bench_places.py [--minutes 60] [--seeds 7 11 12]

Plays the demo as fast as the machine allows. Prints, of the places told once eight events were there, how many lie within 0.05 of a lap of
the true one (counted from where the train was at the start), and how many within 0.05 of the first one told.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import msgspec

from monitor.layout import Layout
from monitor.rehearsal.board import EndlessShow
from monitor.rehearsal.fernhollow import LOCAL, demo_layout_text, fernhollow_show
from monitor.runtime import Pipeline
from monitor.values import Chunk, Pattern

EVENTS = 8
NEAR = 0.05


def told(show: EndlessShow, seconds: float) -> Iterator[Pattern]:
    """The patterns told of the spot's district, each time they change."""
    pipeline = Pipeline(msgspec.toml.decode(demo_layout_text("bench"), type=Layout))
    spec = show.bench.spec
    district = spec.districts[spec.spots[0].district].name
    while (part := show.next_part()).end_s <= seconds:
        step = pipeline.feed("bench", Chunk(data=b"".join(part.packets)))
        yield from (pattern for pattern in step.patterns if district in pattern.districts and pattern.events >= EVENTS)


def measure(seed: int, seconds: float) -> str:
    """One line."""
    show = fernhollow_show(0, seed)
    true = (show.bench.spec.spots[0].place - show.bench._slow.trains[LOCAL].travelled) % 1.0
    places = [pattern.lap_fraction for pattern in told(show, seconds)]
    fixed = [place for place in places if place is not None]
    right, held = (sum(abs((place - at + 0.5) % 1 - 0.5) < NEAR for place in fixed) for at in (true, fixed[0] if fixed else 0.0))
    return f"seed {seed}: told {len(places)} times, at one place {len(fixed)}; right {right}, held {held}"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure how well the demo's bad spot is told.")
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seeds", type=int, nargs="*", default=[7, 11, 12])
    args = parser.parse_args()
    for seed in args.seeds:
        print(measure(seed, 60 * args.minutes), flush=True)


if __name__ == "__main__":
    main()
