"""A scene: a bench, what happens on it, how its board talks; written out as a capture with its truth."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np

from monitor.rehearsal.model import Bench
from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_slow import typical_points
from monitor.rehearsal.model_specs import BenchSpec, BreakerSpec, DistrictSpec, SupplySpec
from monitor.rehearsal.stream import BoardFaults, LineStream, LineStyle, board_stream, received_time_s
from monitor.rehearsal.truth import event_rows

CHECKED = (
    '[supply.condition]\nenclosed = true\ncord = "sound"\nplug = "sound"\nstrain_relief = true\nbreaker_present = true\n'
    'safety_listed = true\nmade_year = 2012\nchecked_on = "2026-11-01"\n'
)


def layout_text(benches: list[BenchSpec], ports: list[str] | None = None, *, is_checked: bool = False) -> str:
    """The layout file of one bench or more, a board each, as text; where it is checked, every supply passed its bench check."""
    first = benches[0]
    rows = [
        f'title = "{first.title}"\n',
        f"[mains]\nvolts = {first.mains_volts:g}\nhertz = {first.mains_hertz:g}\n",
    ]
    for n, bench in enumerate(benches):
        port = f'port = "{ports[n]}"\n' if ports else ""
        rows.append(f'[[board]]\nname = "{bench.board_name}"\nnumber = {bench.board_number}\n{port}{_isolation(bench)}')
    for bench in benches:
        plate = f"input_volts = [{bench.mains_volts:g}]\ninput_hertz = [{bench.mains_hertz:g}]\n" if is_checked else ""
        rows += [_supply_rows(supply, plate) + (CHECKED if is_checked else "") for supply in bench.supplies]
    for bench in benches:
        rows += [_output(bench, district) for district in bench.districts]
    for bench in benches:
        far = 2 * len(bench.districts)
        for n, district in enumerate(bench.districts):
            rows.append(_district(bench, n, far if district.has_far_volts else None))
            far += district.has_far_volts
    for bench in benches:
        rows += _loads(bench)
    return "\n".join(rows)


def _isolation(bench: BenchSpec) -> str:
    """A modelled board that measures two supplies has an isolating transformer before each volts input."""
    if len({district.supply for district in bench.districts}) < 2:
        return ""
    return "isolated_inputs = true      # a board without them measures one supply only\n"


def _supply_rows(supply: SupplySpec, plate: str) -> str:
    text = f'[[supply]]\nname = "{supply.name}"\ncurrent = "{supply.current}"\nrated_va = {supply.rated_va:g}\n'
    text += f"max_volts = {supply.max_volts:.4f}\n{plate}"
    if supply.rating_is == "input":
        text += 'rating_is = "input"\n'
    return text + _protection(supply.breaker)


def _protection(breaker: BreakerSpec) -> str:
    if breaker.written == "nothing":
        return ""
    if breaker.kind == "none":
        return '[supply.protection]\nkind = "none"\n'
    kind = "unknown" if breaker.written == "unknown" else breaker.kind
    text = f'[supply.protection]\nkind = "{kind}"\n'
    if breaker.written == "unknown":
        return text
    text += f"rated_amps = {breaker.rated_amps:g}\n"
    points = [] if breaker.kind == "electronic" else typical_points(breaker)
    if breaker.written == "points" and points:
        pairs = ", ".join(f"[{multiple:g}, {seconds:.2f}]" for multiple, seconds in points)
        text += f"points = [{pairs}]\n"
    return text + f'reset = "{breaker.reset}"\n'


def _output(bench: BenchSpec, district: DistrictSpec) -> str:
    control = "constant" if district.constant else "variable"
    text = f'[[output]]\nsupply = "{bench.supplies[district.supply].name}"\nname = "{district.output}"\ncontrol = "{control}"\n'
    return text + (f"max_amps = {district.max_amps:g}\n" if district.max_amps is not None else "")


def _district(bench: BenchSpec, n: int, far_channel: int | None) -> str:
    district = bench.districts[n]
    rows = [
        f'[[district]]\nname = "{district.name}"',
        f'supply = "{bench.supplies[district.supply].name}"\noutput = "{district.output}"',
        f'board = "{bench.board_name}"\nvolts_channel = {2 * n}\namps_channel = {2 * n + 1}',
    ]
    if far_channel is not None:
        rows.append(f"far_volts_channel = {far_channel}")
    rows.append(f'use = "{district.use}"')
    trains = [train for train in bench.trains if train.district == n]
    if bench.lap_hints and len(trains) == 1:
        rows.append(f"lap_s = {trains[0].lap_s:.1f}")
    if district.feeder is not None:
        rows.append(f"feeder = {{ awg = {district.feeder[0]}, one_way_m = {district.feeder[1]:g} }}")
    return "\n".join(rows) + "\n"


def _loads(bench: BenchSpec) -> list[str]:
    rows = []
    for train in bench.trains:
        if train.district < 0:
            continue
        starting = train.run_amps * (train.start_ratio if train.motor == "series" else 1 / train.armature)
        rows.append(
            f'[[load]]\nname = "{train.name}"\ndistrict = "{bench.districts[train.district].name}"\nkind = "locomotive"\n'
            f"running_amps = {train.run_amps:.1f}\nstarting_amps = {min(starting, 3 * train.run_amps):.1f}\n"
        )
    for district in bench.districts:
        for kind, what, amps in (("lighting", "lamps", district.lamp_amps), ("accessory", "accessories", district.steady_amps)):
            if amps > 0:
                rows.append(
                    f'[[load]]\nname = "{district.name} {what}"\ndistrict = "{district.name}"\nkind = "{kind}"\n'
                    f"running_amps = {amps:.2f}\n"
                )
    return rows


BLOCK_TICKS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedPattern:
    """What a pattern of events should be called.

    Attributes:
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
        clean: Nothing is wrong in it: no medium or high warning, no fault event is right.
        nuisance_from: From which priority a warning is a nuisance in a clean scene.
        pattern: What its events have in common.
        faults: What is wrong with the board.
        lines: How the board writes lines; None: the packed form.
        notes: Further truth, as it goes into the truth file.
    """

    seconds: float
    bench: BenchSpec
    name: str = ""
    seed: int = 0
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
        truth: What a truth file holds.
    """

    wire: bytes
    layout: str
    truth: dict[str, Any]


def capture(scene: Scene) -> Capture:
    """Play a scene through as fast as the machine allows. The same scene gives the same bytes."""
    rng = np.random.default_rng([scene.seed, 0x51])
    bench = Bench(scene.bench, scene.acts, rng)
    stream = board_stream(bench.converter.identity, scene.bench.mains_hertz, scene.lines, scene.faults, rng)
    total = round(scene.seconds / bench.interval_s)
    parts: list[bytes] = []
    while bench.scan < total:
        begin = bench.scan
        parts += stream.packets(bench.advance(BLOCK_TICKS)[: total - begin])
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

    def received_s(at_s: float) -> float:
        return round(received_time_s(at_s, scene.faults, interval_s) - offset_s, 6)

    names = [district.name for district in scene.bench.districts]
    events = event_rows(truth.labels, names, interval_s, end_scan)
    for row in events:
        row["start_s"], row["end_s"] = received_s(row["start_s"]), received_s(row["end_s"])
    supplies = [supply.name for supply in scene.bench.supplies]
    trips = [
        {
            "supply": supplies[trip.supply],
            "onset_s": received_s(trip.onset_scan * interval_s),
            "trip_s": received_s(trip.trip_scan * interval_s),
            "reset_s": None if trip.reset_scan is None else received_s(trip.reset_scan * interval_s),
            "hard": trip.hard,
        }
        for trip in truth.trips
        if trip.trip_scan < end_scan
    ]
    return {
        "name": scene.name,
        "seed": scene.seed,
        "seconds": received_s(scene.seconds),
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
