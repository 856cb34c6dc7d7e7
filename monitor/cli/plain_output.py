"""The place where text becomes terminal output: whatever stands in a title, a mark or a file name, it moves no cursor."""

import contextlib
import io
import os
import sys
import unicodedata
from typing import TextIO

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
