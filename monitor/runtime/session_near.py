"""A stretch of a recorded session from near: readings of every half cycle, and the very samples, decoded again from the raw bytes."""

import threading
from collections import OrderedDict, defaultdict
from collections.abc import Iterable

import numpy as np

from monitor.layout import Layout
from monitor.link.board_clock import BoardClock
from monitor.runtime.pipeline import Pipeline
from monitor.sessions import Playback, SessionFolder
from monitor.sessions.course import Course, DistrictCourse, course_of
from monitor.sessions.merging import Together, part_windows
from monitor.values import ReadingBlock, SampleBlock

JOIN_S = 4.0
PARTS_HELD = 3
"""Parts kept in memory: some 15 MB each for every board with four districts."""

_NOTHING = Course(at_s=np.zeros(0), values=np.zeros(0, dtype=np.float32))


class NearPart:
    """One part of a session, decoded.

    Attributes:
        cycles: One-cycle RMS by district, every half cycle or as the board sends them.
        samples: Volts and amps as sampled, by district; a board that sends readings has none.
    """

    def __init__(self, windows: Iterable[Together], layout: Layout) -> None:
        pipeline = Pipeline(layout, clock_for_board=lambda _board: BoardClock(), concludes=False)
        readings: dict[str, list[ReadingBlock]] = defaultdict(list)
        samples: dict[str, list[SampleBlock]] = defaultdict(list)
        for window in windows:
            step = pipeline.feed_together(window.chunks)
            for block in step.readings:
                readings[block.board].append(block)
            for run in step.samples:
                samples[run.board].append(run)
        self.cycles = {name: course for blocks in readings.values() for name, course in _cycles(blocks).items()}
        self.samples = {name: course for blocks in samples.values() for name, course in _samples(blocks, layout).items()}


class SessionNear:
    """Looks at a session from near; any number of threads may ask."""

    def __init__(self, session: SessionFolder, layout: Layout) -> None:
        self._playback = Playback(session)
        self._layout = layout
        self._lock = threading.Lock()
        self._held: OrderedDict[int, NearPart] = OrderedDict()
        self._starts = self._playback.part_starts()

    def cycles(self, from_s: float, to_s: float) -> dict[str, DistrictCourse]:
        """One-cycle RMS of the parts that hold this stretch, by district."""
        return _joined([part.cycles for part in self._parts(from_s, to_s)])

    def samples(self, from_s: float, to_s: float) -> dict[str, DistrictCourse]:
        """Samples of the parts that hold this stretch, by district."""
        return _joined([part.samples for part in self._parts(from_s, to_s)])

    def _parts(self, from_s: float, to_s: float) -> list[NearPart]:
        """A part begins where the one before it ends; what arrives a little late still lies in its own."""
        wanted = [
            number
            for k, (number, start_s) in enumerate(self._starts)
            if start_s < to_s and (k + 1 == len(self._starts) or self._starts[k + 1][1] > from_s)
        ]
        with self._lock:
            return [self._part(number) for number in wanted[-PARTS_HELD:]]

    def _part(self, number: int) -> NearPart:
        if number not in self._held:
            self._held[number] = NearPart(part_windows(self._playback.part(number), JOIN_S), self._layout)
            if len(self._held) > PARTS_HELD:
                self._held.popitem(last=False)
        self._held.move_to_end(number)
        return self._held[number]


def _cycles(blocks: list[ReadingBlock]) -> dict[str, DistrictCourse]:
    at_s = np.concatenate([(block.start_s + block.end_s) / 2 for block in blocks])
    volts, amps = (np.concatenate([getattr(block, name) for block in blocks]) for name in ("volts_rms", "amps_rms"))
    order = np.argsort(at_s, kind="stable")
    return {
        name: DistrictCourse(volts=course_of(at_s[order], volts[order, k]), amps=course_of(at_s[order], amps[order, k]))
        for k, name in enumerate(blocks[0].districts)
    }


def _samples(blocks: list[SampleBlock], layout: Layout) -> dict[str, DistrictCourse]:
    found = {}
    for district in layout.districts_of_board(blocks[0].board):
        if all(max(district.volts_channel, district.amps_channel) < len(block.identity.channels) for block in blocks):
            found[district.name] = DistrictCourse(
                volts=_channel(blocks, layout, district.volts_channel), amps=_channel(blocks, layout, district.amps_channel)
            )
    return found


def _channel(blocks: list[SampleBlock], layout: Layout, channel: int) -> Course:
    """One channel in its unit, each sample at the moment of its conversion."""
    correction = layout.channel_calibration(blocks[0].board, channel)
    at_s, values = [], []
    for block in blocks:
        described = block.identity.channels[channel]
        at_s.append(block.start_s + np.arange(len(block.counts)) * block.interval_s + described.skew_s)
        zero, gain = described.zero_counts + correction.zero, described.units_per_count * correction.gain
        values.append((block.counts[:, channel].astype(np.float32) - np.float32(zero)) * np.float32(gain))
    return course_of(np.maximum.accumulate(np.concatenate(at_s)), np.concatenate(values))


def _joined(parts: list[dict[str, DistrictCourse]]) -> dict[str, DistrictCourse]:
    if len(parts) == 1:
        return parts[0]
    names = dict.fromkeys(name for part in parts for name in part)
    return {
        name: DistrictCourse(
            volts=_one([part[name].volts for part in parts if name in part]),
            amps=_one([part[name].amps for part in parts if name in part]),
        )
        for name in names
    }


def _one(courses: list[Course]) -> Course:
    if not courses:
        return _NOTHING
    at_s = np.maximum.accumulate(np.concatenate([course.at_s for course in courses]))
    return Course(at_s=at_s, values=np.concatenate([course.values for course in courses]))
