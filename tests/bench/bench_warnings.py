"""Measure the warnings: on rehearsed captures with parameters drawn at random, and on labelled captures in a folder.

    python tests/bench/bench_warnings.py [--scenes 2] [--first-seed 0] [--hours 0.5] [--captures FOLDER]

Prints how many slow overloads had their high warning in time (by seven tenths of the way from onset to opening, and ten seconds
ahead where the overload lasted fifteen seconds or more), how soon a hard short was told of after its samples had come, how soon
a supply over its plate that nothing would switch off was told of, and every medium or high warning in clean running, with the
hours looked at. `--hours` sets how many hours of busy running are rehearsed besides the short clean scenes.
"""

import argparse
import itertools
import json
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from monitor.layout import parse_layout
from monitor.rehearsal import capture, random_scene
from monitor.rehearsal.model_acts import Short
from monitor.runtime import Pipeline
from monitor.values import Chunk, Priority
from tests.bench.busy_evening import PART_S, busy_evening

TRIPPING = ("overload", "overload-train", "overload-creep", "lines-overload")
SHORTS = ("short", "mixed")
CLEAN = ("clean", "clean-phase-cut", "clean-dc", "busy", "arrivals", "lines-clean", "damaged-clean", "grade-trap", "near-limit")
SLOW_S = 5.0
PLATE_WITHIN_S = 15.0
PIECE_BYTES = 1 << 17
PACKET_END = b"\x00"


@dataclass
class Labelled:
    """A capture with its truth."""

    name: str
    wire: bytes
    layout_text: str
    truth: dict
    sparking_s: list = field(default_factory=list)
    layout: object = field(init=False)
    ends_s: dict = field(default_factory=dict)

    def __post_init__(self):
        self.layout = parse_layout(self.layout_text)

    def warnings(self):
        """The first word about each warning; fills in when they ended."""
        pipeline, told = Pipeline(self.layout), {}
        pieces = [self.wire[k : k + PIECE_BYTES] for k in range(0, len(self.wire), PIECE_BYTES)]
        for step in [*(pipeline.feed("bench", Chunk(data=piece)) for piece in pieces), pipeline.finish("bench")]:
            for w in step.warnings:
                told.setdefault(w.id, w)
                if w.end_s is not None:
                    self.ends_s[w.id] = w.end_s
        return list(told.values())

    def belongs(self, warning, supply):
        """Whether a warning is about a supply, an output or a district of it."""
        districts = {d.name for d in self.layout.districts_of_supply(supply)}
        return warning.scope.name in districts or warning.scope.name.split("/")[0] == supply


def rehearsed(kind, seed):
    scene = random_scene(kind, seed)
    made = capture(scene)
    sparking = [act.at_s for act in scene.acts if isinstance(act, Short) and act.chatter]
    return Labelled(f"{kind} {seed}", made.wire, made.layout, made.truth, sparking)


def in_folder(folder):
    for path in sorted(folder.glob("*.truth.json")):
        stem = path.name.removesuffix(".truth.json")
        layout = (folder / f"{stem}.layout.toml").read_text(encoding="utf-8")
        yield Labelled(stem, (folder / f"{stem}.wire").read_bytes(), layout, json.loads(path.read_text(encoding="utf-8")))


@dataclass
class Figures:
    """What was measured so far."""

    slow: int = 0
    late: list = field(default_factory=list)
    shares: list = field(default_factory=list)
    plates: list = field(default_factory=list)
    plates_late: int = 0
    delays_s: list = field(default_factory=list)
    sparking_delays_s: list = field(default_factory=list)
    work_s: list = field(default_factory=list)
    shorts_missed: int = 0
    clean_hours: float = 0.0
    nuisances: list = field(default_factory=list)

    def take(self, made):
        """Judge one capture by its labels."""
        slow = [trip for trip in made.truth["trips"] if trip["trip_s"] - trip["onset_s"] >= SLOW_S]
        warnings = made.warnings()
        for trip in slow:
            self._take_trip(made, trip, warnings)
        if made.truth["name"] == "over-nameplate":
            self._take_plate(made, warnings)
        if made.truth["clean"]:
            least = Priority[made.truth["nuisance_from"].upper()]
            self.clean_hours += made.truth["seconds"] / 3600
            found = [w for w in warnings if w.priority >= least]
            self.nuisances += found
            for w in found:
                print(f"nuisance: {made.name}: {w.priority.word} {w.rule} at {w.start_s:.1f} s: {w.message}", flush=True)
        if any(row["cause"] == "short" and not row.get("optional") for row in made.truth["events"]) and b"\x00" in made.wire:
            self._take_shorts(made)

    def _take_trip(self, made, trip, warnings):
        span_s = trip["trip_s"] - trip["onset_s"]
        last_s = min(trip["onset_s"] + 0.7 * span_s, trip["trip_s"] - 10 if span_s >= 15 else float("inf"))
        # One that stands already when the last of several steps comes was told in time too.
        high = [
            w.start_s
            for w in warnings
            if w.priority is Priority.HIGH
            and made.belongs(w, trip["supply"])
            and w.start_s < trip["trip_s"]
            and made.ends_s.get(w.id, trip["trip_s"]) > trip["onset_s"]
        ]
        self.slow += 1
        if high and min(high) <= last_s:
            self.shares.append((max(min(high), trip["onset_s"]) - trip["onset_s"]) / span_s)
            return
        self.late.append(made.name)
        when = f"{min(high) - trip['onset_s']:.1f} s after the onset" if high else "never"
        print(f"late: {made.name}: warned {when}, wanted within {last_s - trip['onset_s']:.1f} s: {trip}", flush=True)

    def _take_plate(self, made, warnings):
        # The step makes the supply sag; that label begins with it.
        step_s = min((row["start_s"] for row in made.truth["events"] if row["cause"] == "supply-sag"), default=49.2)
        supply = max(made.layout.supply, key=lambda s: made.truth["va_max"].get(s.name, 0.0) / s.plate_va).name
        told = [w.start_s - step_s for w in warnings if w.priority >= Priority.MEDIUM and made.belongs(w, supply)]
        self.plates.append(min(told, default=float("inf")))
        if self.plates[-1] > PLATE_WITHIN_S:
            self.plates_late += 1
            print(f"late: {made.name}: told {self.plates[-1]:.1f} s after the step", flush=True)

    def _take_shorts(self, made):
        """Packet by packet, each at the board's time of its last scan: nothing can come sooner."""
        begins = {}
        for row in made.truth["events"]:
            if row["cause"] == "short" and not row.get("optional"):
                begins.setdefault(row["district"], []).append(row["start_s"])
        told, works = told_by_packet(made)
        for district, starts in begins.items():
            for start_s in starts:
                after = [now_s - start_s for name, now_s in told if name == district and -0.02 <= now_s - start_s <= 5]
                sparks = any(abs(start_s - at_s) < 0.05 for at_s in made.sparking_s)
                if after:
                    (self.sparking_delays_s if sparks else self.delays_s).append(min(after))
                else:
                    self.shorts_missed += 1
                    print(f"short not told of: {made.name}: {district} at {start_s:.2f} s", flush=True)
        self.work_s += works

    def print(self):
        """All figures."""
        early = f", the latest of these at {max(self.shares):.0%} of the way" if self.shares else ""
        print(f"slow overloads told of in time: {self.slow - len(self.late)} of {self.slow}{early}")
        if self.plates:
            print(f"over the plate with nothing that opens, told within 15 s: {len(self.plates) - self.plates_late} of "
                  f"{len(self.plates)}, the latest after {max(self.plates):.1f} s")  # fmt: skip
        for what, delays in (("shorts", self.delays_s), ("shorts that spark from their first moment", self.sparking_delays_s)):
            if delays:
                quick = sorted(delays)
                print(f"{what}: told of {len(quick)}; from the first shorted sample to the end of the packet that told it: median "
                      f"{1000 * quick[len(quick) // 2]:.0f} ms, within 50 ms {sum(d <= 0.05 for d in quick)}, slowest "
                      f"{1000 * quick[-1]:.0f} ms")  # fmt: skip
        if self.work_s:
            print(
                f"shorts not told of: {self.shorts_missed}; work on a packet that told one: {1000 * max(self.work_s):.0f} ms at most"
            )
        print(f"medium or high warnings in clean running: {len(self.nuisances)} in {self.clean_hours:.2f} h", flush=True)


def told_by_packet(made):
    """Pairs of district and the board's time when a short was told, and the seconds of work that each took."""
    pipeline, told, works = Pipeline(made.layout), [], []
    pieces = made.wire.split(PACKET_END)
    for piece in pieces:
        began = time.perf_counter()
        step = pipeline.feed("bench", Chunk(data=piece + PACKET_END))
        took = time.perf_counter() - began
        found = [w.scope.name for w in step.warnings if w.rule == "short" and w.end_s is None and w.state == "unacknowledged"]
        told += [(name, step.now_s) for name in found]
        works += [took] * len(found)
    return told, works


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--hours", type=float, default=0.5)
    parser.add_argument("--captures", type=Path)
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.scenes)
    figures = Figures()
    for kind, seed in itertools.product([*TRIPPING, "over-nameplate", *SHORTS, *CLEAN], seeds):
        figures.take(rehearsed(kind, seed))
    for seed in range(args.first_seed, args.first_seed + round(args.hours * 3600 / PART_S)):
        made = capture(busy_evening(seed))
        figures.take(Labelled(f"busy evening {seed}", made.wire, made.layout, made.truth))
    if args.scenes or args.hours:
        print("rehearsed:")
        figures.print()
    if args.captures:
        figures = Figures()
        for made in in_folder(args.captures):
            figures.take(made)
        print(f"captures in {args.captures.name}:")
        figures.print()


if __name__ == "__main__":
    main()
