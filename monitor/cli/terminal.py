"""What a running watch says on the terminal: one plain line for each thing that a person should know."""

import queue
from collections.abc import Callable, Iterator

from monitor.link import HostClock
from monitor.runtime.supervision import PartHealth
from monitor.standing.notices import LEVEL_OF_PRIORITY
from monitor.standing.states import LayoutStanding
from monitor.standing.words import WORD_OF_CAUSE, WORD_OF_FINDING, WORD_OF_LEVEL, flood_words, full_message
from monitor.values import Action, Event, Finding, PortStatus, Step
from monitor.values import Warning as RaisedWarning

WAITING_LIMIT = 1000
"""Lines that wait to be printed; more are dropped and counted: a terminal stopped with Ctrl-S must not stop the watch."""

WORD_OF_ACTION = {
    "acknowledge": "seen",
    "shelve": "put aside",
    "unshelve": "brought back",
    "mute": "sounds muted",
    "unmute": "sounds on again",
}


REPORTED_LIMIT = 2000
"""Of each kind; a watch of days says many things, and each only while it is new."""


class _AlreadyReported(dict[int, bool]):
    """Ids of what was printed, and whether its end was; the oldest are forgotten beyond REPORTED_LIMIT."""

    def __setitem__(self, number: int, ended: bool) -> None:
        super().__setitem__(number, ended)
        while len(self) > REPORTED_LIMIT:
            del self[next(iter(self))]


class TerminalLines:
    """Turns steps and port statuses into lines; a sink of the watch.

    :meth:`take` is called by the worker and never blocks; :meth:`waiting` is called by the thread that prints.

    Attributes:
        hall: Says how the sending to the hall stands; None where nothing is sent.
        standing: Says how everything stands, so that warnings read as on the page; None where no one knows.
    """

    def __init__(self, clock: HostClock) -> None:
        self._clock = clock
        self._lines: queue.Queue[str] = queue.Queue(maxsize=WAITING_LIMIT)
        self._lost = 0
        self._warnings = _AlreadyReported()
        self._about: dict[int, str] = {}
        self._events = _AlreadyReported()
        self._findings = _AlreadyReported()
        self._port_lines: dict[str, str] = {}
        self._part_lines: dict[str, str] = {}
        self._standing_lines: dict[str, str] = {}
        self._hall_lines = ""
        self._dropped_bytes = 0
        self.hall: Callable[[], str] | None = None
        self.standing: Callable[[], LayoutStanding] | None = None

    def take(self, step: Step) -> None:
        """Lines of one step."""
        for warning in step.warnings:
            self._take_warning(warning)
        for event in step.events:
            self._take_event(event)
        for finding in step.findings:
            self._take_finding(finding)
        for action in step.actions:
            self._take_action(action)

    def take_ports(self, statuses: tuple[PortStatus, ...]) -> None:
        """Say what changed about the ports; called by the thread that prints."""
        for status in statuses:
            if self._port_lines.get(status.port) != status.sentence:
                self._port_lines[status.port] = status.sentence
                self._add_line(self._clock.now_s(), f"port: {status.sentence}")

    def take_parts(self, parts: tuple[PartHealth, ...], dropped_bytes: int) -> None:
        """Say what the watch's own parts failed on, and what was lost by it; called by the thread that prints."""
        for part in parts:
            if part.trouble and self._part_lines.get(part.name) != part.trouble:
                self._part_lines[part.name] = part.trouble
                self._add_line(
                    self._clock.now_s(), f"trouble inside the program: {part.name} failed and goes on ({part.trouble})"
                )
            if part.standstill and self._standing_lines.get(part.name) != part.standstill:
                self._add_line(self._clock.now_s(), f"trouble inside the program: {part.standstill}")
            self._standing_lines[part.name] = part.standstill
        if dropped_bytes > 2 * self._dropped_bytes:
            self._dropped_bytes = dropped_bytes
            self._add_line(
                self._clock.now_s(),
                f"this computer does not keep up: {dropped_bytes} bytes were dropped so far; close other programs on it",
            )

    def waiting(self) -> Iterator[str]:
        """Lines that wait, without waiting for more."""
        if self.hall is not None and self.hall() != self._hall_lines:
            self._hall_lines = self.hall()
            self._add_line(self._clock.now_s(), f"hall: {self._hall_lines}")
        while True:
            try:
                yield self._lines.get_nowait()
            except queue.Empty:
                break
        if self._lost:
            yield f"({self._lost} lines more could not be shown in time; the page and the recording have them)"
            self._lost = 0

    def _take_warning(self, warning: RaisedWarning) -> None:
        ended = warning.end_s is not None
        if self._warnings.get(warning.id) == ended:
            return
        known = warning.id in self._warnings
        message, is_printed = self._message(warning)
        self._warnings[warning.id] = ended or (is_printed and not known)
        if is_printed and not known:
            return
        level = WORD_OF_LEVEL[LEVEL_OF_PRIORITY[warning.priority]]
        self._about[warning.id] = f"{warning.scope.name} ({level})"
        if not known:
            self._add_line(warning.start_s, f"{level.upper()}: {message}")
        if warning.end_s is not None:
            self._add_line(warning.end_s, f"over: {self._about[warning.id]}")

    def _message(self, warning: RaisedWarning) -> tuple[str, bool]:
        """What the page says of it at this moment, and whether a more urgent warning of the same place has printed that.

        The warning's own words where it is over already.
        """
        standing = self.standing() if self.standing is not None else None
        notices = () if standing is None else standing.notices
        notice = next((notice for notice in notices if warning.id in notice.ids), None)
        if standing is not None and standing.flood is not None and warning.id in standing.flood.ids:
            return " ".join(flood_words(standing.flood, standing)), False
        if notice is None or standing is None:
            return f"{warning.message} {warning.advice}", False
        is_printed = notice.ids[0] != warning.id and notice.ids[0] in self._warnings
        return " ".join(full_message(notice, standing, standing.at_s)), is_printed

    def _take_action(self, action: Action) -> None:
        if action.kind == "mark":
            self._add_line(action.at_s, f"mark: {action.text}")
            return
        about = f": {self._about.get(action.warning_id, 'a warning')}" if action.warning_id is not None else ""
        until = f" until {self._moment(action.until_s)}" if action.until_s is not None else ""
        by = f" by {action.by}" if action.by else ""
        self._add_line(action.at_s, f"{WORD_OF_ACTION[action.kind]}{until}{by}{about}")

    def _take_event(self, event: Event) -> None:
        ended = event.end_s is not None
        if not event.cause.is_fault or self._events.get(event.id) == ended:
            return
        known = event.id in self._events
        self._events[event.id] = ended
        if event.end_s is not None:
            self._add_line(
                event.end_s, f"{event.district}: {WORD_OF_CAUSE[event.cause]}, for {event.end_s - event.start_s:.1f} s"
            )
        elif not known:
            self._add_line(event.start_s, f"{event.district}: {WORD_OF_CAUSE[event.cause]}")

    def _take_finding(self, finding: Finding) -> None:
        if finding.id not in self._findings:
            self._findings[finding.id] = False
            word = WORD_OF_FINDING.get(finding.kind.value, finding.kind.value.replace("-", " "))
            self._add_line(finding.start_s, f'{word} on board "{finding.board}": {finding.check}')

    def _add_line(self, at_s: float, words: str) -> None:
        line = f"{self._moment(at_s)}  {' '.join(words.split())}"
        try:
            self._lines.put_nowait(line)
        except queue.Full:
            self._lost += 1

    def _moment(self, at_s: float) -> str:
        return self._clock.wall_time(at_s).astimezone().strftime("%H:%M:%S")
