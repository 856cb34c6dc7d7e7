"""The place where text becomes terminal output: whatever stands in a title, a mark or a file name, it moves no cursor.

Progress of long work is shown here too.
"""

import contextlib
import io
import os
import sys
import time
import unicodedata
from types import TracebackType
from typing import Self, TextIO

from monitor.words.figures import percent

_KEPT = "\n\t"
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Unicode's categories of characters that steer instead of showing: controls, direction marks, halves of pairs, private ones."""
_SHOWN_AS = "\N{REPLACEMENT CHARACTER}"


def plain_text(text: str) -> str:
    """The text with a replacement for each character that would steer a terminal; line ends and tabs stay."""
    if text.isascii() and text.replace("\n", "").replace("\t", "").isprintable():
        return text
    return "".join(each if each in _KEPT or unicodedata.category(each) not in _HIDDEN else _SHOWN_AS for each in text)


def plain_line(text: str) -> str:
    """The same on one line."""
    return plain_text(" ".join(text.split()))


class PlainOutput(io.TextIOBase):
    """A text stream that lets only plain text through to another one.

    Args:
        stream: Where it goes; also :attr:`terminal`, for our own control characters.
    """

    def __init__(self, stream: TextIO) -> None:
        self.terminal = stream

    def write(self, text: str) -> int:
        """Write plain text."""
        return self.terminal.write(plain_text(text))

    def flush(self) -> None:
        """Hand over what was written."""
        self.terminal.flush()

    def isatty(self) -> bool:
        """Whether a person reads along."""
        return self.terminal.isatty()

    def fileno(self) -> int:
        """The number of the file."""
        return self.terminal.fileno()

    @property
    def buffer(self) -> object:
        """The stream of bytes below, for what is no text."""
        return getattr(self.terminal, "buffer")  # noqa: B009 - a stream of a test has none


def print_nowhere() -> None:
    """Turn standard output away: what the stream still holds would raise again when the program ends."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


EVERY_S = 0.2


class Progress:
    """Shows on standard error how far long work is, as a share where the total is known; Ctrl-C stops the work."""

    def __init__(self, what: str, total: float | None) -> None:
        self._what, self._total = what, total
        self._shown_s = 0.0
        self._on = sys.stderr.isatty()

    def reached(self, done: float) -> None:
        """So much is done."""
        if not self._on or time.monotonic() - self._shown_s < EVERY_S:
            return
        self._shown_s = time.monotonic()
        shown = f"{percent(done / self._total):>5}" if self._total else f"{done:.0f} s"
        print(f"\r{self._what}: {shown}  (Ctrl-C stops)", end="", file=_terminal(), flush=True)

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Clear the line."""
        if self._on and self._shown_s:
            print("\r\033[K", end="", file=_terminal(), flush=True)


def _terminal() -> TextIO:
    return sys.stderr.terminal if isinstance(sys.stderr, PlainOutput) else sys.stderr
