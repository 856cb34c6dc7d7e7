"""Questions at the terminal."""

import sys
from collections.abc import Callable
from typing import TypeVar

from monitor.errors import LayoutError

Value = TypeVar("Value")


def typed(prompt: str) -> str:
    """What is typed; nothing where the answers have ended."""
    try:
        return input(prompt).strip()
    except EOFError:
        return ""


def answered(prompt: str, value_of: Callable[[str], Value]) -> Value:
    """What is typed as a value; asked again, with the complaint, where it is none."""
    while True:
        try:
            return value_of(typed(prompt))
        except LayoutError as error:
            print(f"  {error}", file=sys.stderr)


def agrees(question: str) -> bool:
    """Whether somebody says yes; anything else is no."""
    return typed(f"{question} ").lower() in ("y", "yes")
