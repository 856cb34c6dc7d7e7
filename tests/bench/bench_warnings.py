"""Measure the warnings on rehearsed captures with parameters drawn at random.

    python tests/bench/bench_warnings.py [--scenes 2] [--first-seed 0]

Prints how many slow overloads had their high warning in time (by seven tenths of the way from onset to opening, and ten seconds
ahead where the overload lasted fifteen seconds or more), how soon a supply over its plate was told of, and every medium or high
warning in clean running, with the hours looked at.
"""

import argparse
import itertools
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from monitor.layout import parse_layout
from monitor.rehearsal import capture, random_scene
from monitor.runtime import Pipeline
from monitor.values import Chunk, Priority

TRIPPING = ("overload", "overload-train", "overload-creep", "lines-overload")
CLEAN = ("clean", "clean-phase-cut", "clean-dc", "busy", "arrivals", "lines-clean", "damaged-clean", "grade-trap")
SLOW_S = 5.0


def warnings_of(made):
    """Warnings as they rose, and the layout."""
    layout = parse_layout(made.layout)
    pipeline = Pipeline(layout)
    steps = [pipeline.feed("bench", Chunk(data=made.wire)), pipeline.finish("bench")]
    return {w.id: w for step in steps for w in step.warnings}.values(), layout


def in_time(trip, warnings, layout):
    """Whether a high warning about the supply, an output or a district of it rose in time."""
    span_s = trip["trip_s"] - trip["onset_s"]
    last_s = trip["onset_s"] + 0.7 * span_s
    if span_s >= 15:
        last_s = min(last_s, trip["trip_s"] - 10)
    districts = {d.name for d in layout.districts_of_supply(trip["supply"])}
    return any(
        w.priority is Priority.HIGH
        and trip["onset_s"] - 1 <= w.start_s <= last_s
        and (w.scope.name in districts or w.scope.name.split("/")[0] == trip["supply"])
        for w in warnings
    )


def overloads(seeds):
    told = wanted = 0
    for kind, seed in itertools.product(TRIPPING, seeds):
        made = capture(random_scene(kind, seed))
        warnings, layout = warnings_of(made)
        slow = [trip for trip in made.truth["trips"] if trip["trip_s"] - trip["onset_s"] >= SLOW_S]
        late = [trip for trip in slow if not in_time(trip, warnings, layout)]
        wanted, told = wanted + len(slow), told + len(slow) - len(late)
        for trip in late:
            print(f"late: {kind} {seed}: {trip}")
    print(f"slow overloads told of in time: {told} of {wanted}")


def clean_running(seeds):
    hours, nuisances = 0.0, 0
    for kind, seed in itertools.product(CLEAN, seeds):
        least = Priority.HIGH if kind == "grade-trap" else Priority.MEDIUM
        made = capture(random_scene(kind, seed))
        hours += made.truth["seconds"] / 3600
        found = [w for w in warnings_of(made)[0] if w.priority >= least]
        nuisances += len(found)
        for w in found:
            print(f"nuisance: {kind} {seed}: {w.priority.word} {w.rule} at {w.start_s:.1f} s")
    print(f"medium or high warnings in clean running: {nuisances} in {hours:.2f} h")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=0)
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.scenes)
    overloads(seeds)
    clean_running(seeds)


if __name__ == "__main__":
    main()
