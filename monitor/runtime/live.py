"""The live store: where the pipeline's thread and the pages meet."""

import copy
import threading
from collections import deque
from collections.abc import Callable
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from monitor.layout import District, Layout
from monitor.runtime.notices import Notices
from monitor.runtime.picture import Picture, Wave
from monitor.runtime.trend import Trend, TrendWindow
from monitor.standing import DistrictNow, LayoutStanding, assess
from monitor.values import Action, BoardSeen, Finding, Health, PortStatus, ReadingBlock, SampleBlock, Snapshot, Step, SupplyLoad
from monitor.values.arrays import Floats

MEAN_OVER_S = 0.2
WAVE_S = 0.1
"""Samples kept for the wave: six cycles at 60 Hz."""
SILENT_OUTPUT_S = 5.0
"""Figures of an output that fell silent are given up this long after, while the others of its board go on."""
BLOCKS_KEPT = 2000
"""Upper limit on blocks held, whatever their times say; the oldest go first."""


class BoardLatest:
    """Holds what the figures and the wave of one board are made of."""

    def __init__(self, layout: Layout, board: str) -> None:
        self._layout = layout
        self._names = tuple(district.name for district in layout.districts_of_board(board))
        self._readings: deque[ReadingBlock] = deque(maxlen=BLOCKS_KEPT)
        self._samples: deque[SampleBlock] = deque(maxlen=BLOCKS_KEPT)
        self._last_end_s = np.full(len(self._names), np.nan)
        self._last_arrival_s = np.full(len(self._names), np.nan)

    def add_readings(self, block: ReadingBlock, arrived_s: float) -> None:
        """Take readings.

        Args:
            block: Of this board.
            arrived_s: The stream's clock when they came.
        """
        if not len(block):
            return
        self._readings.append(block)
        good = np.isfinite(block.volts_rms) | np.isfinite(block.amps_rms)
        fresh = good.any(axis=0)
        rows = len(block) - 1 - np.argmax(good[::-1], axis=0)
        self._last_end_s[fresh] = block.end_s[rows][fresh]
        self._last_arrival_s[fresh] = arrived_s
        # What no district's latest mean needs any more; a board that sends seldom keeps its last block at least.
        needed_from_s = float(np.nanmin(self._last_end_s)) - MEAN_OVER_S if fresh.any() else -np.inf
        oldest_s = float(block.end_s[-1]) - SILENT_OUTPUT_S
        while len(self._readings) > 1 and self._readings[0].end_s[-1] <= max(needed_from_s, oldest_s):
            self._readings.popleft()

    def add_samples(self, block: SampleBlock) -> None:
        """Take samples; a hole, a restart or another identity starts it over."""
        if self._samples and not (block.continues and block.identity == self._samples[-1].identity):
            self._samples.clear()
        self._samples.append(block)
        while len(self._samples) > 1 and self._samples[1].start_s < block.end_s - WAVE_S:
            self._samples.popleft()

    def district(self, name: str, now_s: float, findings: tuple[Finding, ...]) -> DistrictNow:
        """The latest figures of a district."""
        column = self._names.index(name)
        last_s = float(self._last_end_s[column])
        if not np.isfinite(last_s):
            return DistrictNow(name=name, findings=findings)
        # A board's time may run ahead of the stream's clock before its drift is known: arrival bounds it.
        known_s = min(last_s, float(self._last_arrival_s[column]))
        blocks = [block for block in self._readings if block.end_s[-1] > last_s - MEAN_OVER_S]
        if not blocks:
            return DistrictNow(name=name, age_s=max(0.0, now_s - known_s), findings=findings)
        ends = np.concatenate([block.end_s for block in blocks])
        rows = (ends > last_s - MEAN_OVER_S) & (ends <= last_s)

        def column_of(field: str) -> Floats:
            values: Floats = np.concatenate([getattr(block, field)[:, column] for block in blocks])[rows]
            return values[np.isfinite(values)]

        def is_clipped(field: str) -> bool:
            marks = [getattr(block, field) for block in blocks]
            found = [np.zeros(len(block)) if each is None else each[:, column] for block, each in zip(blocks, marks, strict=True)]
            return bool(np.concatenate(found)[rows].any())

        frequency = np.concatenate([block.frequency_hz for block in blocks])[rows]
        return DistrictNow(
            name=name,
            age_s=max(0.0, now_s - known_s),
            volts_rms=_rms(column_of("volts_rms")),
            amps_rms=_rms(column_of("amps_rms")),
            watts=_mean(column_of("watts")),
            volts_mean=_mean(column_of("volts_mean")),
            amps_mean=_mean(column_of("amps_mean")),
            volts_peak=_highest(column_of("volts_peak")),
            amps_peak=_highest(column_of("amps_peak")),
            far_volts_rms=_rms(column_of("far_volts_rms")),
            frequency_hz=_mean(frequency[np.isfinite(frequency)]),
            volts_clipped=is_clipped("volts_clipped"),
            amps_clipped=is_clipped("amps_clipped"),
            findings=findings,
        )

    def wave(self, district: District) -> Wave | None:
        """The last samples of a district in volts and amps; None where there are none or the board lacks its channels."""
        if not self._samples:
            return None
        last = self._samples[-1]
        channels = last.identity.channels
        if max(district.volts_channel, district.amps_channel) >= len(channels):
            return None
        counts = np.concatenate([block.counts for block in self._samples])
        kept = min(len(counts), max(1, round(WAVE_S / last.interval_s)))
        volts, amps = (self._units(last, counts[-kept:], k) for k in (district.volts_channel, district.amps_channel))
        return Wave(
            start_s=last.end_s - kept * last.interval_s,
            interval_s=last.interval_s,
            volts=volts,
            amps=amps,
            volts_skew_s=channels[district.volts_channel].skew_s,
            amps_skew_s=channels[district.amps_channel].skew_s,
        )

    def _units(self, block: SampleBlock, counts: NDArray[np.int16], channel: int) -> Floats:
        """Volts or amps of one channel, as the meter makes them."""
        described = block.identity.channels[channel]
        correction = self._layout.channel_calibration(block.board, channel)
        zero_counts = described.zero_counts + correction.zero
        return (counts[:, channel].astype(np.float64) - zero_counts) * (described.units_per_count * correction.gain)


def _rms(values: Floats) -> float | None:
    return float(np.sqrt(np.mean(values**2))) if len(values) else None


def _mean(values: Floats) -> float | None:
    return float(values.mean()) if len(values) else None


def _highest(values: Floats) -> float | None:
    return float(values.max()) if len(values) else None


MARKS_KEPT = 50
BOARDS_KEPT = 64
"""Boards and health reports by name and number; more are not taken: the wire itself allows 256 numbers."""


class Live:
    """How everything stands; one thread publishes, any number of threads look.

    Args:
        layout: The layout file.
        now_s: The stream's clock, seconds on the scale of ``Chunk.received_s``: asked when something comes and when somebody
            looks. It must go on when nothing comes any more: the age of data is counted with it.
        began_at: Wall clock at second 0 of the stream; None where it is not known.
    """

    def __init__(self, layout: Layout, now_s: Callable[[], float], began_at: datetime | None = None) -> None:
        self.layout = layout
        self.now_s = now_s
        self.began_at = began_at
        self._lock = threading.Lock()
        self._columns = {district.name: column for column, district in enumerate(layout.district)}
        self._latest = {board.name: BoardLatest(layout, board.name) for board in layout.board}
        self._trend = Trend(len(layout.district))
        self._notices = Notices()
        self._boards: dict[str, BoardSeen] = {}
        self._healths: dict[int, Health] = {}
        self._marks: deque[Action] = deque(maxlen=MARKS_KEPT)
        self._loads: tuple[SupplyLoad, ...] = ()
        self._ports: tuple[PortStatus, ...] = ()
        self._news = 0
        self._recording: tuple[str | None, bool] = (None, True)
        self._troubles: tuple[str, ...] = ()

    def copy(self) -> "Live":
        """A store of its own that holds the same, for another process to go on with."""
        with self._lock:
            return copy.deepcopy(self)

    def __getstate__(self) -> dict[str, object]:
        """All but the lock."""
        return {name: value for name, value in self.__dict__.items() if name != "_lock"}

    def __setstate__(self, state: dict[str, object]) -> None:
        """With a lock of its own."""
        self.__dict__.update(state)
        self._lock = threading.Lock()

    def publish(self, step: Step) -> None:
        """Take one step; never waits longer than somebody's copying of figures takes."""
        arrived_s = self.now_s()
        with self._lock:
            for block in step.samples:
                self._latest[block.board].add_samples(block)
            for readings in step.readings:
                self._latest[readings.board].add_readings(readings, arrived_s)
                self._trend.add(
                    [self._columns[name] for name in readings.districts],
                    readings.end_s,
                    readings.volts_rms,
                    readings.amps_rms,
                    readings.watts,
                )
            self._loads = step.loads or self._loads
            self._notices.add(step)
            self._marks.extend(action for action in step.actions if action.kind == "mark")
            self._news += bool(step.events or step.snapshots or step.patterns or step.slow_figures or step.actions)
            self._note_boards(step)

    def set_ports(self, statuses: tuple[PortStatus, ...]) -> None:
        """How it stands with each port; replaces what was said before."""
        with self._lock:
            self._ports = tuple(statuses)

    def set_recording(self, sentence: str | None, ok: bool) -> None:  # noqa: FBT001 - (sentence, ok) reads well where it is called
        """What the recorder says of itself."""
        with self._lock:
            self._recording = (sentence, ok)

    def set_troubles(self, sentences: tuple[str, ...]) -> None:
        """What is wrong with the watching program itself; replaces what was said before."""
        with self._lock:
            self._troubles = sentences

    def picture(self) -> Picture:
        """How everything stands now."""
        now_s = self.now_s()
        with self._lock:
            findings = self._notices.findings(now_s)
            return Picture(
                now_s=now_s,
                districts=tuple(self._district(name, now_s, findings) for name in self._columns),
                warnings=self._notices.standing(now_s),
                past_warnings=self._notices.past_warnings(),
                events=self._notices.events(),
                marks=tuple(reversed(self._marks)),
                patterns=self._notices.patterns(),
                phasings=self._notices.phasings(),
                slow_figures=self._notices.slow_figures(),
                findings=findings,
                loads=self._loads,
                boards=dict(self._boards),
                healths=dict(self._healths),
                ports=self._ports,
                troubles=self._troubles,
                recording=self._recording[0],
                recording_is_well=self._recording[1],
                muted_until_s=self._notices.muted_until_s(now_s),
                news=self._news,
            )

    def standing(self) -> LayoutStanding:
        """The one state of each supply and district now."""
        return assess(self.layout, self.picture())

    def trend(self, buckets: int, district: str | None = None, until_s: float | None = None) -> TrendWindow:
        """The last buckets of all districts, or of one, up to now or up to a moment of the stream.

        Raises:
            KeyError: The layout has no such district.
        """
        columns = None if district is None else [self._columns[district]]
        moment_s = self.now_s() if until_s is None else until_s
        with self._lock:
            return self._trend.window(moment_s, buckets, columns)

    def snapshot(self, event_id: int) -> Snapshot | None:
        """Samples around an event; None where there are none, or none any more."""
        with self._lock:
            return self._notices.snapshot(event_id)

    def wave(self, district: str) -> Wave | None:
        """The last samples of a district; None where there are none.

        Raises:
            KeyError: The layout has no such district.
        """
        row = self.layout.district[self._columns[district]]
        with self._lock:
            return self._latest[row.board].wave(row)

    def _district(self, name: str, now_s: float, findings: tuple[Finding, ...]) -> DistrictNow:
        row = self.layout.district[self._columns[name]]
        channels = (None, row.volts_channel, row.amps_channel)
        against = tuple(f for f in findings if f.end_s is None and f.board == row.board and f.channel in channels)
        return self._latest[row.board].district(name, now_s, against)

    def _note_boards(self, step: Step) -> None:
        for seen in step.boards:
            key = seen.board or seen.identity.name
            if key in self._boards or len(self._boards) < BOARDS_KEPT:
                self._boards[key] = seen
        for health in step.healths:
            if health.number in self._healths or len(self._healths) < BOARDS_KEPT:
                self._healths[health.number] = health
