"""How a station stands, in the words and levels of the live page."""

from monitor.bus.hall_values import StationView, Trouble
from monitor.standing import Level
from monitor.standing.words import seconds

LEVEL_OF_TROUBLE: dict[Trouble, Level] = {
    "high": Level.HIGH,
    "silent": Level.STALE,
    "medium": Level.MEDIUM,
    "low": Level.LOW,
    "well": Level.WELL,
    "gone": Level.REST,
}
WORD_OF_TROUBLE: dict[Trouble, str] = {
    "high": "act now",
    "silent": "silent",
    "medium": "act soon",
    "low": "know it",
    "well": "running",
    "gone": "closed down",
}
WALL_TROUBLES: tuple[Trouble, ...] = ("high", "silent", "medium", "low")
"""What the wall stops at."""
CLOCK_SHOWN_S = 2.0
"""A station's clock that is off by less is not worth a word: a message needs a part of it."""


def clock_words(ahead_s: float | None) -> str:
    """How far a station's clock is off; empty where it is right or not known."""
    if ahead_s is None or abs(ahead_s) < CLOCK_SHOWN_S:
        return ""
    return f"clock {seconds(abs(ahead_s))} {'ahead' if ahead_s > 0 else 'behind'}"


def counted(stations: tuple[StationView, ...]) -> str:
    """How many stand how: "2 act now, 1 silent, 40 running"."""
    found = ((trouble, sum(station.trouble == trouble for station in stations)) for trouble in WORD_OF_TROUBLE)
    return ", ".join(f"{count} {WORD_OF_TROUBLE[trouble]}" for trouble, count in found if count)
