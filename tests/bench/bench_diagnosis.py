"""Measure the diagnosis on rehearsed captures with parameters drawn at random, or on a folder of labelled captures.

    python tests/bench/bench_diagnosis.py [--scenes 2] [--first-seed 0] [--kinds NAME ...] [--lines MS] [--folder FOLDER] [--verbose]

Prints the confusion table, macro-F1, false faults an hour, how often pattern verdicts are right, how well confidence is
calibrated, and what the diagnosis alone costs. Events are matched as the scorer of labelled captures does it: same district,
overlapping or within half a second; labels marked optional and throttle moves may be found or not.
"""

import argparse
import json
import math
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import msgspec

from monitor.layout import Layout
from monitor.layout.load import load_layout
from monitor.rehearsal import KINDS, capture, random_scene
from monitor.rehearsal.stream import LineStyle
from monitor.runtime import Pipeline
from monitor.values import Chunk, Event, Pattern

NEAR_S = 0.5
CHUNK_BYTES = 1 << 18
EVENTS_FOR_A_VERDICT = 8


@dataclass(slots=True)
class Tally:
    confusion: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    false_faults: list[str] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)
    verdicts: list[tuple[str, bool]] = field(default_factory=list)
    confidences: list[tuple[float, bool, str]] = field(default_factory=list)
    edges_s: list[float] = field(default_factory=list)
    seconds: float = 0.0
    clean_seconds: float = 0.0
    clean_faults: int = 0
    cpu_s: float = 0.0


def diagnose(wire: bytes, layout: Layout, tally: Tally) -> tuple[list[Event], list[Pattern]]:
    """Events and patterns as they stand at the end."""
    pipeline = Pipeline(layout)
    whole = pipeline._diagnosis.feed

    def feed(*args: Any) -> tuple[list[Event], list[Pattern]]:
        began = time.process_time()
        told = whole(*args)
        tally.cpu_s += time.process_time() - began
        return told

    pipeline._diagnosis.feed = feed  # type: ignore[method-assign]
    steps = [pipeline.feed("bench", Chunk(data=wire[at : at + CHUNK_BYTES])) for at in range(0, len(wire), CHUNK_BYTES)]
    steps.append(pipeline.finish("bench"))
    events = {event.id: event for step in steps for event in step.events}
    patterns = {pattern.districts: pattern for step in steps for pattern in step.patterns}
    return sorted(events.values(), key=lambda e: e.start_s), current(list(patterns.values()))


def current(patterns: list[Pattern]) -> list[Pattern]:
    """The latest saying for each district: a later one replaces what was said before."""
    kept: list[Pattern] = []
    for pattern in patterns:
        kept = [p for p in kept if not set(p.districts) & set(pattern.districts)] + [pattern]
    return kept


def gap_s(a: dict[str, Any], event: Event, length_s: float) -> float:
    end_s = length_s if event.end_s is None else event.end_s
    return max(a["start_s"] - end_s, event.start_s - (a["end_s"] or length_s), 0.0)


def match(labels: list[dict[str, Any]], events: list[Event], length_s: float) -> tuple[dict[int, Event], list[Event]]:
    free, pairs = list(events), {}
    for same in (True, False):
        for n, label in enumerate(labels):
            if n in pairs or label.get("optional"):
                continue
            near = [
                e
                for e in free
                if e.district == label["district"]
                and gap_s(label, e, length_s) <= NEAR_S
                and (not same or e.cause.value == label["cause"])
            ]
            if near:
                pairs[n] = min(near, key=lambda e: (gap_s(label, e, length_s), abs(e.start_s - label["start_s"])))
                free.remove(pairs[n])
    may = [label for label in labels if label.get("optional")]
    spare = [
        e
        for e in free
        if not any(m["district"] == e.district and m["cause"] == e.cause.value and gap_s(m, e, length_s) <= NEAR_S for m in may)
    ]
    return pairs, spare


def count(name: str, truth: dict[str, Any], events: list[Event], patterns: list[Pattern], tally: Tally) -> None:
    labels, length_s = truth["events"], truth["seconds"]
    pairs, spare = match(labels, events, length_s)
    tally.seconds += length_s
    for n, label in enumerate(labels):
        found = pairs.get(n)
        if label.get("optional") or (label["cause"] == "throttle" and found is None):
            continue
        called = found.cause.value if found else "(missed)"
        tally.confusion[label["cause"]][called] += 1
        if found:
            tally.confidences.append((found.confidence, called == label["cause"], called))
        if called == label["cause"] and found:
            tally.edges_s.append(abs(found.start_s - label["start_s"]))
        else:
            tally.misses.append(
                f"{name}: {label['cause']} at {label['start_s']:.2f}-{label['end_s']:.2f} {label['district']}: {called}"
            )
    faults = [event for event in spare if event.cause.is_fault]
    for event in spare:
        tally.confusion["(nothing)"][event.cause.value] += 1
        tally.confidences.append((event.confidence, False, event.cause.value))
    tally.false_faults += [f"{name}: {e.cause.value} at {e.start_s:.2f} {e.district} ({e.confidence:.2f})" for e in faults]
    if truth["clean"]:
        tally.clean_seconds += length_s
        tally.clean_faults += len([event for event in events if event.cause.is_fault])
    judge(name, truth, patterns, tally)


def judge(name: str, truth: dict[str, Any], patterns: list[Pattern], tally: Tally) -> None:
    want = truth["pattern"]
    if not want:
        return
    events = [e for e in truth["events"] if e["district"] in want["districts"] and e["cause"] in ("lost-contact", "weak-joint")]
    got = [p for p in patterns if set(p.districts) & set(want["districts"])]
    right = bool(got) and all(p.verdict == want["verdict"] for p in got)
    if right and want.get("lap_s"):
        right = any(p.lap_s and abs(p.lap_s / want["lap_s"] - 1) < 0.1 for p in got)
    if len(events) >= EVENTS_FOR_A_VERDICT:
        said = [(p.verdict, p.lap_s and round(p.lap_s, 2), p.events, p.p_value and f"{p.p_value:.1g}") for p in got]
        tally.verdicts.append((f"{name}: {want['verdict']} {want.get('lap_s') or 0:.2f} s: {said}", right))


def report(tally: Tally, *, verbose: bool) -> None:
    report_causes(tally)
    hours = tally.seconds / 3600
    print(f"false faults {len(tally.false_faults) / max(hours, 1e-9):.2f} an hour")
    if tally.clean_seconds:
        print(f"fault events in clean running {tally.clean_faults} in {tally.clean_seconds / 3600:.2f} h")
    if tally.verdicts:
        print(f"verdicts right {sum(ok for _, ok in tally.verdicts)} of {len(tally.verdicts)}")
    report_confidence(tally)
    print(f"cost {1000 * tally.cpu_s / max(tally.seconds, 1e-9) * 200:.0f} ms for 200 s")
    if verbose:
        for title, rows in (("misses", tally.misses), ("false faults", tally.false_faults)):
            print(title, *rows, sep="\n  ")
        print("verdicts", *(f"{'right' if ok else 'WRONG'} {row}" for row, ok in tally.verdicts), sep="\n  ")


def report_causes(tally: Tally) -> None:
    called = sorted({name for row in tally.confusion.values() for name in row})
    print(f"{'':18}" + "".join(f"{name[:9]:>10}" for name in called))
    for cause in sorted(tally.confusion):
        print(f"{cause:18}" + "".join(f"{tally.confusion[cause][name] or '.':>10}" for name in called))
    scores = []
    for cause in sorted(c for c in tally.confusion if c not in ("(nothing)", "throttle")):
        row = tally.confusion[cause]
        found = sum(other[cause] for other in tally.confusion.values())
        scores.append(2 * row[cause] / (sum(row.values()) + found))
        print(f"{cause:18} F1 {scores[-1]:.3f} of {sum(row.values())}")
    print(f"macro-F1 {sum(scores) / max(1, len(scores)):.4f} over {tally.seconds / 3600:.2f} h")


def report_confidence(tally: Tally) -> None:
    """Reliability: of the events called with so much confidence, how many were right, and between what bounds (Wilson, 95 %)."""
    print(f"{'confidence':14}{'mean':>8}{'right':>8}{'from':>8}{'to':>8}{'events':>8}")
    for low, high in pairwise((0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.01)):
        inside = [(confidence, ok) for confidence, ok, _ in tally.confidences if low <= confidence < high]
        if inside:
            n, mean = len(inside), sum(confidence for confidence, _ in inside) / len(inside)
            right = sum(ok for _, ok in inside) / n
            least, most = wilson(right, n)
            print(f"{low:.2f}-{min(high, 1):<9.2f}{mean:8.3f}{right:8.3f}{least:8.3f}{most:8.3f}{n:8d}")
    by_call: dict[tuple[str, float], list[bool]] = defaultdict(list)
    for confidence, ok, cause in tally.confidences:
        by_call[cause, round(confidence, 3)].append(ok)
    for (cause, confidence), right in sorted(by_call.items()):
        print(f"  {cause:18} called with {confidence:.3f}: {sum(right)} of {len(right)}")
    if tally.edges_s:
        edges = sorted(tally.edges_s)
        print(f"start error median {edges[len(edges) // 2]:.4f} s, 90 % within {edges[int(0.9 * len(edges))]:.3f} s")


def wilson(share: float, n: int, z: float = 1.96) -> tuple[float, float]:
    """The interval of Wilson (1927) for a share seen in n trials."""
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return middle - half, middle + half


def rehearsed(kinds: list[str], seeds: range, lines_ms: int | None) -> Iterator[tuple[str, bytes, Layout, dict[str, Any]]]:
    for kind in kinds:
        for seed in seeds:
            scene = random_scene(kind, seed)
            played = capture(scene if lines_ms is None else replace(scene, lines=LineStyle(interval_ms=lines_ms)))
            yield f"{kind}-{seed}", played.wire, msgspec.toml.decode(played.layout, type=Layout), played.truth


def labelled(folder: Path) -> Iterator[tuple[str, bytes, Layout, dict[str, Any]]]:
    for path in sorted(folder.glob("*.truth.json")):
        stem = path.name.removesuffix(".truth.json")
        yield (
            stem,
            (folder / f"{stem}.wire").read_bytes(),
            load_layout(folder / f"{stem}.layout.toml"),
            json.loads(path.read_text()),
        )


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the diagnosis on labelled captures.")
    parser.add_argument("--scenes", type=int, default=2, help="how many of each kind")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--lines", type=int, help="rehearsed boards send lines, so many milliseconds apart")
    parser.add_argument("--folder", type=Path, help="labelled captures instead of rehearsed ones")
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.scenes)
    tally = Tally()
    for name, wire, layout, truth in labelled(args.folder) if args.folder else rehearsed(args.kinds, seeds, args.lines):
        count(name, truth, *diagnose(wire, layout, tally), tally)
    report(tally, verbose=args.verbose)


if __name__ == "__main__":
    main()
