"""The slow book: figures that change over an evening, gathered and compared."""

from monitor.diagnosis.flickers import Flickers
from monitor.diagnosis.loop_ohms import LoopOhms
from monitor.diagnosis.running_amps import RunningAmps
from monitor.diagnosis.source_ohms import SourceOhms
from monitor.diagnosis.watcher import Stream
from monitor.facts.circuits import Circuits
from monitor.facts.ticks import TICK_S
from monitor.layout import Layout
from monitor.values import Cause, Event, ReadingBlock, SlowFigure

EVERY_TICKS = 50


class SlowBook:
    """Keeps what is watched for slow trouble."""

    def __init__(self, layout: Layout, circuits: Circuits, stream: Stream) -> None:
        self._ticks = ticks = stream.ticks
        self._flickers = Flickers(stream)
        self._supplies = {district.name: district.supply for district in layout.district}
        self._source = SourceOhms(circuits, ticks)
        self._loops = LoopOhms(layout)
        self._running = RunningAmps(circuits, ticks)
        self._first_opening: dict[str, float] = {}
        self._openings: dict[str, int] = {}
        self._figures: list[SlowFigure] = []
        self._seen: set[int] = set()
        self._next_tick = 0

    def take(self, block: ReadingBlock) -> None:
        """Take readings."""
        self._figures += self._loops.take(block)

    def advance(self, events: list[Event]) -> None:
        """Look at the ticks completed since, and at new events."""
        self._figures += self._flickers.advance()
        self._figures += [figure for event in events for figure in self._opening(event)]
        if self._ticks.real_end < self._next_tick:
            return
        self._next_tick = self._ticks.real_end + EVERY_TICKS
        self._source.advance()
        self._figures += self._source.figures() + self._running.advance()

    def finish(self) -> None:
        """The stream ends."""
        self._source.advance()
        self._figures += self._source.figures() + self._loops.finish()

    def drain(self) -> list[SlowFigure]:
        """Figures since the last call."""
        figures, self._figures = self._figures, []
        return figures

    def source_ohms(self) -> dict[str, float]:
        """Estimates by supply."""
        return self._source.ohms()

    def _opening(self, event: Event) -> list[SlowFigure]:
        """How soon a protection opened, once for all districts of its supply."""
        share = event.evidence.get("share_of_typical_time")
        if event.cause is not Cause.PROTECTION_OPEN or share is None or event.id in self._seen:
            return []
        self._seen.add(event.id)
        supply = self._supplies[event.district]
        at = round(event.start_s / TICK_S)
        if self._openings.get(supply) == at:
            return []
        self._openings[supply] = at
        first = self._first_opening.setdefault(supply, share)
        return [
            SlowFigure(kind="opening-share", name=supply, value=share, reference=first, spread=0.0, count=1, at_s=event.start_s)
        ]
