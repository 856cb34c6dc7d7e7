"""What ends a program that runs until somebody ends it: signals, and the time limit."""

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from types import FrameType

SAY_EVERY_S = 0.2


class Ended(threading.Event):
    """Whether a signal ended it, and which.

    Attributes:
        reason: The signal's name; empty where none came.
    """

    reason = ""


@contextlib.contextmanager
def ended_by_signal(others: Mapping[int, Callable[[], None]] | None = None) -> Iterator[Ended]:
    """Take signals while this lasts: Ctrl-C and a request to terminate end it.

    Args:
        others: What to do at further signals, which do not.
    """
    ended = Ended()

    def take(number: int, frame: FrameType | None) -> None:
        del frame
        if others and number in others:
            others[number]()
            return
        ended.reason = signal.Signals(number).name
        ended.set()

    handlers = {number: signal.signal(number, take) for number in (signal.SIGINT, signal.SIGTERM, *(others or ()))}
    try:
        yield ended
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)


def print_until_ended(sentence: Callable[[], str], seconds: float | None) -> None:
    """Print a sentence whenever it changes, until a signal comes or the time is up."""
    ends_s = None if seconds is None else time.monotonic() + seconds
    shown = ""
    with ended_by_signal() as ended:
        while not ended.wait(SAY_EVERY_S) and (ends_s is None or time.monotonic() < ends_s):
            if sentence() != shown:
                shown = sentence()
                print(shown, flush=True)
