"""A bench of plain arithmetic for the diagnosis: two supplies, four districts, readings each half cycle."""

import itertools
from dataclasses import dataclass, field

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.diagnosis import Diagnosis
from monitor.layout import Layout
from monitor.values import Event, Pattern, ReadingBlock
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

Floats = NDArray[np.float64]

NAMES = ("Outer main", "Inner main", "Quarry branch", "Town lights")
BENCHES = ("North bench", "North bench", "South bench", "South bench")
GUARD = "[supply.protection]\nkind = 'thermal'\nrated_amps = 10\npoints = [[1.35, 1800], [2.0, 40], [3.0, 12]]\n"
SOURCE_OHMS = np.array([[0.3, 0.3, 0.0, 0.0], [0.3, 0.3, 0.0, 0.0], [0.0, 0.0, 0.4, 0.4], [0.0, 0.0, 0.4, 0.4]])


def layout_text(hertz: float = 60, current: str = "ac") -> str:
    text = (
        head_text(hertz) + supply_text("North bench", current=current, more=GUARD) + supply_text("South bench", 16, 80, current)
    )
    for at, (name, bench) in enumerate(zip(NAMES, BENCHES, strict=True)):
        lights = name == "Town lights"
        text += output_text("AB"[at % 2], bench, "constant" if lights else "variable")
        text += district_text(at, name, bench, "AB"[at % 2], use="accessories" if lights else "track")
    return text


def layout(hertz: float = 60, current: str = "ac") -> Layout:
    return msgspec.toml.decode(layout_text(hertz, current), type=Layout)


@dataclass
class Bench:
    """Volts and amps as functions of time, changed by acts; :meth:`block` makes the readings.

    ``load`` multiplies a district's train current, ``fed`` its volts, ``extra`` adds amps; all of shape (fine steps, 4).
    """

    seconds: float
    hertz: float = 60
    current: str = "ac"
    train_amps: tuple[float, ...] = (2.5, 2.0, 1.2, 0.0)
    lamp_amps: tuple[float, ...] = (0.4, 0.3, 0.2, 0.9)
    lap_s: tuple[float, ...] = (17.0, 13.0, 19.0, 10.0)
    grade: float = 0.12
    noise: float = 0.02
    seed: int = 0
    step_s: float = 0.001
    offset: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.n = round(self.seconds / self.step_s)
        self.at_s = np.arange(self.n) * self.step_s
        self.load, self.fed, self.extra = np.ones((self.n, 4)), np.ones((self.n, 4)), np.zeros((self.n, 4))
        self.offset = np.zeros((self.n, 4))
        self.open_volts = np.tile(np.array([15.0, 14.0, 13.0, 12.5]), (self.n, 1))

    def rows(self, start_s: float, end_s: float) -> slice:
        return slice(round(start_s / self.step_s), round(end_s / self.step_s))

    def readings(self) -> ReadingBlock:
        rng = np.random.default_rng(self.seed)
        turn = 2 * np.pi * self.at_s[:, None] / np.array(self.lap_s)
        slow = np.repeat(rng.normal(0, self.noise, (self.n // 20 + 1, 4)), 20, axis=0)[: self.n]
        train = np.array(self.train_amps) * (1 + self.grade * np.sin(turn) + 0.4 * self.grade * np.sin(2 * turn + 1) + slow)
        amps = (train * self.load + np.array(self.lamp_amps)) * np.minimum(self.fed, 1.0) + self.extra
        volts = np.maximum(self.open_volts * self.fed - (amps @ SOURCE_OHMS) * (self.fed > 0), 0.0)
        amps = np.where(self.fed > 0, amps, 0.0)
        half = 0.5 / self.hertz
        starts = np.arange(int(self.seconds / half) - 2) * half

        def mean(values: Floats) -> Floats:
            total = np.concatenate([np.zeros((1, 4)), np.cumsum(values, axis=0)]) * self.step_s
            at = np.arange(self.n + 1) * self.step_s
            columns = [np.interp(starts + 2 * half, at, total[:, k]) - np.interp(starts, at, total[:, k]) for k in range(4)]
            return np.column_stack(columns) / (2 * half)

        volts_rms, amps_rms = np.sqrt(mean(volts**2 + self.offset**2)), np.sqrt(mean(amps**2))
        # The converter's own noise.
        volts_rms += rng.normal(0, 0.01, volts_rms.shape)
        amps_rms = np.abs(amps_rms + rng.normal(0, 0.008, amps_rms.shape))
        nan = np.full(volts_rms.shape, np.nan)
        return ReadingBlock(
            board="bench-1",
            districts=NAMES,
            start_s=starts,
            end_s=starts + 2 * half,
            volts_rms=np.abs(volts_rms),
            amps_rms=amps_rms,
            volts_mean=mean(self.offset) if self.current == "ac" else volts_rms,
            amps_mean=nan,
            watts=nan,
            volts_peak=nan,
            amps_peak=nan,
            far_volts_rms=nan,
            frequency_hz=np.full(len(starts), self.hertz),
        )

    def diagnose(self) -> tuple[list[Event], list[Pattern]]:
        return diagnose(self.readings(), layout(self.hertz, self.current))


def part(block: ReadingBlock, first: int, last: int) -> ReadingBlock:
    arrays = {
        name: getattr(block, name)[first:last]
        for name in ReadingBlock.__dataclass_fields__
        if isinstance(getattr(block, name), np.ndarray)
    }
    return ReadingBlock(board=block.board, districts=block.districts, **arrays)


def diagnose(block: ReadingBlock, plan: Layout, cuts: tuple[int, ...] = ()) -> tuple[list[Event], list[Pattern]]:
    """Events and patterns as they stand at the end, whatever the cuts."""
    diagnosis = Diagnosis(plan)
    events: dict[int, Event] = {}
    patterns: list[Pattern] = []
    edges = [0, *sorted(cuts), len(block)]
    for first, last in itertools.pairwise(edges):
        if last > first:
            piece = part(block, first, last)
            told, seen = diagnosis.feed((), (piece,), float(piece.end_s[-1]))
            events |= {event.id: event for event in told}
            patterns = current(patterns, seen)
    told, seen = diagnosis.finish(float(block.end_s[-1]))
    events |= {event.id: event for event in told}
    return list(events.values()), current(patterns, seen)


def current(said: list[Pattern], new: list[Pattern]) -> list[Pattern]:
    for pattern in new:
        said = [p for p in said if not set(p.districts) & set(pattern.districts)] + [pattern]
    return said


def bare(events: list[Event]) -> list[tuple[str, str]]:
    return [(event.cause.value, event.district) for event in sorted(events, key=lambda e: (e.start_s, e.district))]
