"""The one thread that runs the pipeline: takes what the readers left, hands each step to the sinks."""

import logging
import threading
from collections.abc import Callable, Mapping, Sequence

from monitor.runtime.inbox import Inbox
from monitor.runtime.pipeline import Pipeline
from monitor.runtime.port_record import PortRecord
from monitor.values import Action, Chunk, Step

_log = logging.getLogger(__name__)

Sink = Callable[[Step], None]

TICK_S = 0.2
"""Where nothing comes from any port, time still passes: an empty chunk of no port."""

FAILURES_LIMIT = 5
"""So many chunks in a row that the pipeline failed on, and its state is held to be broken: a new one takes over."""

NO_PORT = ""


class PipelineWorker:
    """The work of the pipeline's thread.

    Args:
        make_pipeline: Makes the pipeline, and makes it again should its state break.
        inbox: Where chunks and actions come from.
        sinks: Take each step; one that raises is logged and hurts no other.
        records: By port.
        now_s: The host clock.

    Attributes:
        steps: Steps made so far.
        beat_s: Host seconds when the loop last went round: shows that it is alive.
        trouble: What the pipeline or a sink failed on last, one line; empty where nothing did.
        failures: How often something failed.
    """

    def __init__(
        self,
        make_pipeline: Callable[[], Pipeline],
        *,
        inbox: Inbox,
        sinks: Sequence[Sink],
        records: Mapping[str, PortRecord],
        now_s: Callable[[], float],
    ) -> None:
        self._make_pipeline = make_pipeline
        self._pipeline = make_pipeline()
        self._inbox = inbox
        self._sinks = list(sinks)
        self._records = records
        self._now_s = now_s
        self._failed_in_a_row = 0
        self.steps = 0
        self.beat_s = now_s()
        self.trouble = ""
        self.failures = 0

    def add_sink(self, sink: Sink) -> None:
        """Hand each step to one more sink, before the others; only before the work begins."""
        self._sinks.insert(0, sink)

    def work(self, stop: threading.Event) -> None:
        """Work until stopped, then let the pipeline finish."""
        while not stop.is_set():
            self._round(TICK_S)
        while (letter := self._inbox.take(0)) is not None:
            self._work_through(letter)
        self._publish(self._pipeline.finish())

    def _round(self, timeout_s: float) -> None:
        self.beat_s = self._now_s()
        letter = self._inbox.take(timeout_s)
        self._work_through((NO_PORT, self._tick()) if letter is None else letter)

    def _work_through(self, letter: tuple[str, Chunk] | Action) -> None:
        try:
            if isinstance(letter, Action):
                self._pipeline.operate(letter)
                letter = (NO_PORT, self._tick())
            step = self._pipeline.feed(*letter)
        except Exception as error:  # noqa: BLE001 - a fault in one chunk must not end the watch
            self._fail(error)
            return
        self._failed_in_a_row = 0
        self._publish(step)

    def _tick(self) -> Chunk:
        return Chunk(data=b"", received_s=self._now_s())

    def _publish(self, step: Step) -> None:
        self.steps += 1
        if step.port in self._records:
            self._records[step.port].told(step)
        for sink in self._sinks:
            try:
                sink(step)
            except Exception as error:  # noqa: BLE001 - one sink's fault must not hurt the others
                self._note_failure(error)

    def _fail(self, error: Exception) -> None:
        self._note_failure(error)
        self._failed_in_a_row += 1
        if self._failed_in_a_row >= FAILURES_LIMIT:
            _log.error("the pipeline failed %d times in a row: a new one takes over", self._failed_in_a_row)
            self._pipeline = self._make_pipeline()
            self._failed_in_a_row = 0

    def _note_failure(self, error: Exception) -> None:
        self.failures += 1
        self.trouble = f"{type(error).__name__}: {error}"
        # Every power of two, so that a fault in each chunk does not fill the log.
        if self.failures & (self.failures - 1) == 0:
            _log.error("a step failed (%d times so far)", self.failures, exc_info=error)
