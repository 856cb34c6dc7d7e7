"""The bench: acts and slow state walk through it tick by tick, then whole blocks become the converter's counts.

Heat, speed and filaments are stepped every SCANS_PER_TICK scans (about 10 ms) on RMS figures; what the sensors see is solved scan
by scan on instantaneous values, at the very moment at which each channel is converted.
"""

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from monitor.rehearsal.model_acts import Act
from monitor.rehearsal.model_converter import Converter, edge_answer
from monitor.rehearsal.model_director import Director
from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_network import DistrictLoad, WaveNetwork
from monitor.rehearsal.model_slow import SlowBench, SlowRecord
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.truth import Truth
from monitor.values.arrays import Floats

Counts = NDArray[np.int16]


class Bench:
    """A bench that runs: feed it acts, take counts."""

    def __init__(self, spec: BenchSpec, acts: Iterable[Act], rng: np.random.Generator) -> None:
        self.spec = spec
        self.truth = Truth()
        self.converter = Converter(spec, rng)
        self._rng = rng
        self._slow = SlowBench(spec)
        self._director = Director(spec, acts, self._slow, self.truth, rng)
        self._theta = rng.uniform(0, 2 * math.pi)
        self._hertz_off = 0.0
        self.scan = 0
        self._lag_rad = [rng.uniform(0.1, 0.42) for _ in spec.districts]
        self._watch = _SecondMeans(len(spec.supplies))
        self._settle()

    def _settle(self, ticks: int = 300) -> None:
        """Let speeds and filaments find their level first; the protection starts anywhere below its steady heat."""
        frame = Frame(-ticks * SCANS_PER_TICK, ticks, len(self.spec.districts), len(self.spec.trains))
        levels = np.repeat([[district.level] for district in self.spec.districts], frame.scans, axis=1)
        self._slow.run(frame, levels, lambda _tick_scan, _steps: None, self._rng)
        for breaker, amps in zip(self._slow.breakers, self._slow.amps, strict=True):
            breaker.heat = min((amps / breaker.hold_amps) ** 2, 0.9) * self._rng.random()

    @property
    def interval_s(self) -> float:
        """Seconds between scans by the board's clock."""
        return self.spec.converter.scan_interval_s

    def schedule(self, acts: Iterable[Act]) -> None:
        """Add acts that lie ahead."""
        self._director.schedule(acts)

    def advance(self, ticks: int) -> Counts:
        """Run on by some ticks.

        Returns:
            Shape (ticks * SCANS_PER_TICK, channels).
        """
        frame = Frame(self.scan, ticks, len(self.spec.districts), len(self.spec.trains))
        levels = self._director.open_block(frame)
        record = self._slow.run(frame, levels, self._director.after_tick, self._rng)
        self._director.close_block(frame, record)
        counts = self._convert(frame, levels, record)
        self._director.settle_trains(frame)
        self.scan += frame.scans
        return counts

    def _convert(self, frame: Frame, levels: Floats, record: SlowRecord) -> Counts:
        networks = [self._network(supply, frame, levels, record) for supply in range(len(self.spec.supplies))]
        theta, hertz = self._angles(frame)
        counts = np.empty((frame.scans, len(self.converter.sources)), dtype=np.int16)
        squares: dict[tuple[int, str], Floats] = {}
        for channel, (district, what) in enumerate(self.converter.sources):
            network, n = networks[self.spec.districts[district].supply], self._place(district)
            at = theta + 2 * math.pi * hertz * self.converter.seen_s(channel, frame.start_scan, frame.scans)
            if what == "amps":
                values = network.amps(n, at) * record.hash_noise(self._rng, district, frame)
            else:
                solved = network.volts(at)
                values = (solved.load_volts if what == "far" else solved.volts)[n]
            squares[district, what] = values * values
            counts[:, channel] = self.converter.counts(channel, values, frame.start_scan)
        self._note_loads(squares)
        return counts

    def _network(self, supply: int, frame: Frame, levels: Floats, record: SlowRecord) -> WaveNetwork:
        spec = self.spec.supplies[supply]
        let_through = record.let_through(supply, frame)
        closed = np.where(let_through > 0, 1.0, 0.0)
        loads = [self._load(district, frame, levels, record, closed) for district in self.spec.districts_of(supply)]
        board, turn = self.spec.converter, 2 * math.pi * self.spec.mains_hertz
        return WaveNetwork(
            spec,
            spec.volts_open * frame.tracks["mains"][0] * let_through,
            loads,
            lambda angle: edge_answer(angle / turn + board.filter_s, board.edge_s, board.filter_s),
        )

    def _load(self, n: int, frame: Frame, levels: Floats, record: SlowRecord, closed: Floats) -> DistrictLoad:
        district, tracks = self.spec.districts[n], frame.tracks
        seconds = np.arange(frame.start_scan, frame.end_scan) * self.interval_s
        plain, series, magnet, emf = record.conductances(n, frame)
        return DistrictLoad(
            wave=district.wave,
            level=levels[n] * tracks["drive"][n],
            feed=tracks["feed"][n] * closed,
            dc_volts=tracks["dc"][n],
            plain=plain + tracks["short"][n] + tracks["step"][n],
            series=series,
            lag_rad=self._lag_rad[n],
            magnet=magnet,
            emf=emf,
            own_ohms=district.own_ohms,
            feeder_ohms=np.asarray(district.feeder_ohms + district.feeder_growth * seconds, dtype=np.float64),
        )

    def _place(self, district: int) -> int:
        return self.spec.districts_of(self.spec.districts[district].supply).index(district)

    def _angles(self, frame: Frame) -> tuple[Floats, float]:
        """Angle of the mains at the start of each scan; hertz as the board's clock sees them."""
        self._hertz_off += self._rng.normal(0, self.spec.hertz_wander * 0.3) - 0.05 * self._hertz_off
        hertz = (self.spec.mains_hertz + self._hertz_off) * (1 + self.spec.converter.clock_error)
        per_scan = 2 * math.pi * hertz * self.interval_s
        theta = self._theta + per_scan * np.arange(frame.scans) + frame.tracks["angle"][0]
        self._theta = (self._theta + per_scan * frame.scans) % (2 * math.pi)
        return theta, hertz

    def _note_loads(self, squares: dict[tuple[int, str], Floats]) -> None:
        for supply in range(len(self.spec.supplies)):
            chosen = self.spec.districts_of(supply)
            self._watch.add(supply, [(squares[n, "volts"], squares[n, "amps"]) for n in chosen], self.interval_s)
        self.truth.va_max.update(enumerate(self._watch.highest))


class _SecondMeans:
    """Highest one-second mean of a supply's volt-amperes, from RMS over stretches of about a tick's multiple."""

    def __init__(self, supplies: int) -> None:
        self.highest = [0.0] * supplies
        self._tail: list[list[float]] = [[] for _ in range(supplies)]

    def add(self, supply: int, pairs: list[tuple[Floats, Floats]], interval_s: float) -> None:
        """Take squares of volts and amps of each district over one block."""
        span = SCANS_PER_TICK * 4
        total = np.zeros(len(pairs[0][0]) // span) if pairs else np.zeros(0)
        for volts, amps in pairs:
            usable = len(total) * span
            total += np.sqrt(volts[:usable].reshape(-1, span).mean(1) * amps[:usable].reshape(-1, span).mean(1))
        series = self._tail[supply] + total.tolist()
        window = max(round(1.0 / (span * interval_s)), 1)
        if len(series) >= window:
            means = np.convolve(series, np.full(window, 1 / window), mode="valid")
            self.highest[supply] = max(self.highest[supply], float(means.max()))
        self._tail[supply] = series[-(window - 1) :] if window > 1 else []
