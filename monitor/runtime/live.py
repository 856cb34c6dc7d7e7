"""The live store: where the reader's thread and the pages meet."""

import copy
import threading
from collections import deque
from collections.abc import Callable
from datetime import datetime

from monitor.layout import Layout
from monitor.runtime.latest import BoardLatest
from monitor.runtime.notices import Notices
from monitor.runtime.picture import Picture, Wave
from monitor.runtime.trend import Trend, TrendWindow
from monitor.standing import DistrictNow, LayoutStanding, assess
from monitor.values import Action, BoardSeen, Finding, Health, PortStatus, Snapshot, Step, SupplyLoad

MARKS_KEPT = 50
BOARDS_KEPT = 64
"""Boards and health reports by name and number; more are not taken: the wire itself allows 256 numbers."""


class Live:
    """How everything stands; one thread publishes, any number of threads look.

    Args:
        layout: The layout file.
        now_s: The stream's clock, seconds on the scale of ``Chunk.received_s``: asked when something comes and when somebody
            looks. It must go on when nothing comes any more: the age of data is counted with it.
        began_at: Wall clock at second 0 of the stream; None where nobody knows.
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
