"""Where the program's log goes: what is serious to the terminal, everything to a file that never grows beyond measure."""

import argparse
import contextlib
import logging
import logging.handlers
from collections.abc import Iterator
from pathlib import Path

from monitor.cli.plain_output import plain_line
from monitor.errors import LogError

FILE_LIMIT_BYTES = 2_000_000
OLD_FILES_KEPT = 5
"""A file that is full becomes FILE.1, that one FILE.2 and so on; the oldest goes."""
FORMAT = "%(asctime)s %(levelname)s %(name)s: %(message)s"


def configure_log(parser: argparse.ArgumentParser) -> None:
    """Add the argument."""
    limit = FILE_LIMIT_BYTES * (OLD_FILES_KEPT + 1) // 1_000_000
    parser.add_argument(
        "--log", type=Path, metavar="FILE", help=f"keep a log in this file and {OLD_FILES_KEPT} older ones, {limit} MB at most"
    )


@contextlib.contextmanager
def logging_to(path: Path | None) -> Iterator[None]:
    """Log serious things to standard error, a line each, and where a file is given everything to that, with the program's stacks.

    Raises:
        LogError: It cannot be written.
    """
    terminal = logging.StreamHandler()
    terminal.setLevel(logging.WARNING)
    terminal.setFormatter(_OneLine(FORMAT))
    handlers: list[logging.Handler] = [terminal]
    if path is not None:
        handlers.append(_opened(path))
    root = logging.getLogger()
    level_before = root.level
    root.setLevel(logging.WARNING if path is None else logging.INFO)
    for handler in handlers:
        root.addHandler(handler)
    try:
        yield
    finally:
        root.setLevel(level_before)
        for handler in handlers:
            root.removeHandler(handler)
            handler.close()


def _opened(path: Path) -> logging.Handler:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = _QuietFile(path, maxBytes=FILE_LIMIT_BYTES, backupCount=OLD_FILES_KEPT, encoding="utf-8")
    except OSError as error:
        raise LogError(
            f"no log can be kept in {path} ({error.strerror}): mend its rights, or choose another with --log"
        ) from error
    file.setFormatter(_WithStacks(FORMAT))
    return file


class _OneLine(logging.Formatter):
    """What a person at the terminal can use: the sentence, without the stack of the program."""

    def format(self, record: logging.LogRecord) -> str:
        line = super().format(logging.makeLogRecord({**record.__dict__, "exc_info": None, "exc_text": None, "stack_info": None}))
        sentence = plain_line(line)
        has_details = record.exc_info is not None or hasattr(record, "other_stack")
        return f"{sentence} (--log FILE keeps the details)" if has_details else sentence


class _WithStacks(logging.Formatter):
    """Everything, also the stack that another process of ours sent along."""

    def format(self, record: logging.LogRecord) -> str:
        stack = getattr(record, "other_stack", "")
        return super().format(record) + (f"\n{stack}" if stack else "")


class _QuietFile(logging.handlers.RotatingFileHandler):
    """On a full disk there is nowhere to say so, and the watch goes on."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the library's own name
        del record
