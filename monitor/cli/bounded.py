"""Numbers on the command line, within bounds."""

import argparse
from collections.abc import Callable


def bounded(lowest: float, highest: float, complaint: str) -> Callable[[str], float]:
    """A type of argument: a number from lowest to highest; anything else is refused with a complaint."""

    def number(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not lowest <= value <= highest:
            raise argparse.ArgumentTypeError(f"{text!r} is no {complaint}")
        return value

    return number
