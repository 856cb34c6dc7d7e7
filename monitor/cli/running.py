"""Runs a watch until somebody ends it: signals, lines on the terminal, the time limit."""

import logging
import signal
import threading
from types import FrameType

from monitor.app import SUPERVISOR, Watch
from monitor.cli.plain_output import print_nowhere
from monitor.cli.service_manager import tell_service_manager
from monitor.cli.terminal import TerminalLines

SAY_EVERY_S = 0.2
_log = logging.getLogger("pilotlamp")


def run_watch(watch: Watch, lines: TerminalLines, seconds: float | None = None) -> str:
    """Start the watch, print its lines, stop it at a signal or after the seconds.

    Returns:
        Why it ended: "time is up" or the signal's name.
    """
    ended = threading.Event()
    reason = ["time is up"]

    def go_on(number: int, frame: FrameType | None) -> None:
        del number, frame
        _log.warning("the terminal was closed; the watch goes on, and the page with it")

    def end(number: int, frame: FrameType | None) -> None:
        del frame
        reason[0] = signal.Signals(number).name
        ended.set()

    handlers = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    if hasattr(signal, "SIGHUP"):  # not on Windows
        handlers[signal.SIGHUP] = signal.signal(signal.SIGHUP, go_on)
    try:
        watch.start()
        tell_service_manager("READY=1")
        _print_until(ended, watch, lines, seconds)
        tell_service_manager("STOPPING=1")
        watch.stop(reason[0])
        _print(watch, lines)
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
    return reason[0]


def _print_until(ended: threading.Event, watch: Watch, lines: TerminalLines, seconds: float | None) -> None:
    began_s = watch.clock.now_s()
    while True:
        gone_s = watch.clock.now_s() - began_s
        if seconds is not None and gone_s >= seconds:
            return
        if ended.wait(SAY_EVERY_S if seconds is None else min(SAY_EVERY_S, seconds - gone_s)):
            return
        _print(watch, lines)
        if all(part.is_well for part in watch.parts() if part.name == SUPERVISOR):
            # What else stands still, the supervisor begins anew; itself, only whoever started the program can.
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
