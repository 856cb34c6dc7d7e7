"""Runs a watch until somebody ends it: signals, lines on the terminal, the time limit."""

import contextlib
import logging
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict

import msgspec

from monitor.app import SUPERVISOR, Watch
from monitor.cli.plain_output import print_nowhere
from monitor.cli.service import tell_service_manager
from monitor.cli.signals import SAY_EVERY_S, Ended, ended_by_signal
from monitor.cli.terminal import TerminalLines
from monitor.layout import Layout
from monitor.runtime import SummaryBuilder
from monitor.values import PortStatus, Step


class Tally:
    """Counts steps; a sink of the watch."""

    def __init__(self, layout: Layout) -> None:
        self._summary = SummaryBuilder(layout)
        self._events: dict[int, str] = {}
        self._warnings: dict[int, str] = {}
        self._findings: dict[int, str] = {}
        self._readings = 0
        self._scans = 0
        self._boards: set[str] = set()

    @property
    def anything_read(self) -> bool:
        """True once any board gave a reading."""
        return self._readings > 0

    def take(self, step: Step) -> None:
        """Take one step."""
        self._summary.add(step)
        self._events.update((event.id, event.cause.value) for event in step.events)
        self._warnings.update((warning.id, f"{warning.priority.word} {warning.rule}") for warning in step.warnings)
        self._findings.update((finding.id, finding.kind.value) for finding in step.findings)
        self._readings += sum(len(block) for block in step.readings)
        self._scans += sum(len(block.counts) for block in step.samples)
        self._boards.update(seen.board for seen in step.boards if seen.board is not None)

    def json_line(self, statuses: Sequence[PortStatus]) -> str:
        """The summary as one line; counts by kind, figures as in ``sift``'s summary, how the ports stood at the end."""
        return msgspec.json.encode(
            {
                "kind": "watched",
                "boards": sorted(self._boards),
                "scans": self._scans,
                "readings": self._readings,
                "warnings": dict(Counter(self._warnings.values())),
                "events": dict(Counter(self._events.values())),
                "findings": dict(Counter(self._findings.values())),
                "ports": [{"port": status.port, "state": status.state, "sentence": status.sentence} for status in statuses],
                **asdict(self._summary.build()),
            }
        ).decode()


LAYOUT_CHANGED = "layout changed"
_log = logging.getLogger("pilotlamp")


def run_watch(
    watch: Watch, lines: TerminalLines, seconds: float | None = None, *, until: Callable[[], bool] = lambda: False
) -> str:
    """Start the watch, print its lines, stop it at a signal or after the seconds.

    Args:
        watch: The watch.
        lines: What is printed.
        seconds: End after so many; None for never.
        until: Says when to end for another reason: the layout has changed.

    Returns:
        Why it ended: "time is up", :data:`LAYOUT_CHANGED` or the signal's name.
    """
    with _signals() as ended:
        watch.start()
        tell_service_manager("READY=1")
        _print_until(ended, watch, lines, seconds, until)
        if not ended.reason and until():
            ended.reason = LAYOUT_CHANGED
        else:
            tell_service_manager("STOPPING=1")
        watch.stop(ended.reason or "time is up")
        _print(watch, lines)
    return ended.reason or "time is up"


def run_until(done: Callable[[], bool], seconds: float | None = None) -> bool:
    """Wait until something is done.

    Returns:
        False where a signal came before, or the time was up.
    """
    with _signals() as ended:
        tell_service_manager("READY=1")
        began_s = time.monotonic()
        while not ended.wait(SAY_EVERY_S) and not done() and (seconds is None or time.monotonic() - began_s < seconds):
            tell_service_manager("WATCHDOG=1")
        return done() and not ended.reason


def _signals() -> contextlib.AbstractContextManager[Ended]:
    """A closed terminal does not end a watch."""

    def go_on() -> None:
        _log.warning("the terminal was closed; the watch goes on, and the page with it")

    return ended_by_signal({signal.SIGHUP: go_on} if hasattr(signal, "SIGHUP") else None)  # not on Windows


def _print_until(
    ended: threading.Event, watch: Watch, lines: TerminalLines, seconds: float | None, until: Callable[[], bool]
) -> None:
    began_s = watch.clock.now_s()
    while True:
        gone_s = watch.clock.now_s() - began_s
        if seconds is not None and gone_s >= seconds:
            return
        if ended.wait(SAY_EVERY_S if seconds is None else min(SAY_EVERY_S, seconds - gone_s)):
            return
        if until():
            return
        _print(watch, lines)
        if all(part.is_well for part in watch.parts() if part.name == SUPERVISOR):
            # What else stands still, the supervisor restarts; itself, only what started the program can.
            tell_service_manager("WATCHDOG=1")


def _print(watch: Watch, lines: TerminalLines) -> None:
    lines.take_ports(watch.statuses())
    lines.take_parts(watch.parts(), watch.dropped_bytes)
    for line in lines.waiting():
        _log.info("%s", line)
        print_or_go_on(line)


def print_or_go_on(line: str) -> None:
    """Print a line; a terminal that is gone, or a full disk behind it, costs the line and never the watch."""
    try:
        print(line, flush=True)
    except OSError as error:
        _log.warning("nothing can be printed any more (%s); the watch goes on", error.strerror)
        print_nowhere()
