"""Attributes by which the scripts find elements and screen readers name them."""

from typing import Any


def hook(**values: str) -> dict[str, Any]:
    """``data-`` attributes, to be unpacked into a component."""
    return {f"data-{name.replace('_', '-')}": value for name, value in values.items()}


def aria(**values: str) -> dict[str, Any]:
    """``aria-`` attributes, to be unpacked into a component."""
    return {f"aria-{name}": value for name, value in values.items()}
