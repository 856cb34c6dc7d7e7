"""A scene: a bench, what happens on it, how its board talks; written out as a capture with its truth."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np

from monitor.rehearsal.layout_text import layout_text
from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.stream import BoardFaults, PackedStream, heard_time_s
from monitor.rehearsal.stream_lines import LineStream, LineStyle
from monitor.rehearsal.truth import event_rows

BLOCK_TICKS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedPattern:
    """What a pattern of events should be called.

    Attributes:
        verdict: The right word.
        districts: Where, by position.
        lap_of: Train whose lap time should be found; None: no lap time is asked for.
    """

    verdict: Literal["fixed-spot", "follows-train", "scattered"]
    districts: tuple[int, ...]
    lap_of: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A scene.

    Attributes:
        name: Its kind.
        seed: What it was drawn from.
        seconds: How long.
        bench: What stands there.
        acts: What happens.
        clean: Nothing is wrong in it: no medium or high warning, no fault event is right.
        nuisance_from: From which priority a warning is a nuisance in a clean scene.
        pattern: What its events have in common.
        faults: What is wrong with the board.
        lines: How the board writes lines; None: the packed form.
        notes: Further truth, as it goes into the truth file.
    """

    name: str
    seed: int
    seconds: float
    bench: BenchSpec
    acts: tuple[Act, ...] = ()
    clean: bool = False
    nuisance_from: Literal["medium", "high"] = "medium"
    pattern: ExpectedPattern | None = None
    faults: BoardFaults = field(default_factory=BoardFaults)
    lines: LineStyle | None = None
    notes: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """A scene as bytes.

    Attributes:
        wire: Raw bytes as they came over the port.
        layout: The layout file.
        truth: What a truth file holds.
    """

    wire: bytes
    layout: str
    truth: dict[str, Any]


def capture(scene: Scene) -> Capture:
    """Play a scene through as fast as the machine allows. The same scene gives the same bytes."""
    rng = np.random.default_rng([scene.seed, 0x51])
    bench = Bench(scene.bench, scene.acts, rng)
    identity = bench.converter.identity
    stream = (
        LineStream(identity, scene.bench.mains_hertz, scene.lines, rng)
        if scene.lines is not None
        else PackedStream(identity, scene.faults, rng)
    )
    total = round(scene.seconds / bench.interval_s)
    parts = []
    while bench.scan < total:
        begin = bench.scan
        parts.append(stream.feed(bench.advance(BLOCK_TICKS)[: total - begin]))
    offset_s = stream.first_reading_s if isinstance(stream, LineStream) else None
    truth = truth_of(scene, bench, total, offset_s or 0.0)
    return Capture(wire=b"".join(parts), layout=layout_text([scene.bench]), truth=truth)


def write_capture(scene: Scene, folder: Path, stem: str | None = None) -> Path:
    """Write NAME.wire, NAME.layout.toml and NAME.truth.json.

    Returns:
        The path of the wire file.
    """
    folder.mkdir(parents=True, exist_ok=True)
    played = capture(scene)
    name = stem or f"{scene.name}-{scene.seed}"
    path = folder / f"{name}.wire"
    path.write_bytes(played.wire)
    (folder / f"{name}.layout.toml").write_text(played.layout, encoding="utf-8")
    (folder / f"{name}.truth.json").write_text(json.dumps(played.truth, indent=1), encoding="utf-8")
    return path


def truth_of(scene: Scene, bench: Bench, end_scan: int, offset_s: float) -> dict[str, Any]:
    """The truth file of a scene that was played to end_scan; offset_s is when the listener's clock began."""
    interval_s, truth = bench.interval_s, bench.truth

    def heard(at_s: float) -> float:
        return round(heard_time_s(at_s, scene.faults, interval_s) - offset_s, 6)

    names = [district.name for district in scene.bench.districts]
    events = event_rows(truth.labels, names, interval_s, end_scan)
    for row in events:
        row["start_s"], row["end_s"] = heard(row["start_s"]), heard(row["end_s"])
    supplies = [supply.name for supply in scene.bench.supplies]
    trips = [
        {
            "supply": supplies[trip.supply],
            "onset_s": heard(trip.onset_scan * interval_s),
            "trip_s": heard(trip.trip_scan * interval_s),
            "reset_s": None if trip.reset_scan is None else heard(trip.reset_scan * interval_s),
            "hard": trip.hard,
        }
        for trip in truth.trips
        if trip.trip_scan < end_scan
    ]
    return {
        "name": scene.name,
        "seed": scene.seed,
        "seconds": heard(scene.seconds),
        "clean": scene.clean,
        "nuisance_from": scene.nuisance_from,
        "pattern": _pattern(scene, bench, names),
        "trips": trips,
        "events": [row for row in events if row["end_s"] > row["start_s"]],
        "va_max": {supplies[n]: va for n, va in sorted(truth.va_max.items())},
        "notes": scene.notes,
    }


def _pattern(scene: Scene, bench: Bench, names: list[str]) -> dict[str, Any] | None:
    if scene.pattern is None:
        return None
    lap_of = scene.pattern.lap_of
    return {
        "verdict": scene.pattern.verdict,
        "districts": [names[n] for n in scene.pattern.districts],
        "lap_s": None if lap_of is None else bench.truth.lap_s(lap_of, bench.interval_s),
    }
