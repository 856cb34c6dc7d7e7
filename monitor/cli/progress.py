"""Progress of long work, on a terminal only."""

import sys
import time
from types import TracebackType
from typing import Self, TextIO

from monitor.cli.plain_output import PlainOutput

EVERY_S = 0.2


class Progress:
    """Shows on standard error how far long work is; Ctrl-C stops the work.

    Args:
        what: What is being done.
        total: How much there is of it; None where that is not known.
    """

    def __init__(self, what: str, total: float | None) -> None:
        self._what, self._total = what, total
        self._shown_s = 0.0
        self._on = sys.stderr.isatty()

    def reached(self, done: float) -> None:
        """So much is done."""
        if not self._on or time.monotonic() - self._shown_s < EVERY_S:
            return
        self._shown_s = time.monotonic()
        said = f"{done / self._total:4.0%}" if self._total else f"{done:.0f} s"
        print(f"\r{self._what}: {said}  (Ctrl-C stops)", end="", file=_terminal(), flush=True)

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Clear the line."""
        if self._on and self._shown_s:
            print("\r\033[K", end="", file=_terminal(), flush=True)


def _terminal() -> TextIO:
    return sys.stderr.terminal if isinstance(sys.stderr, PlainOutput) else sys.stderr
