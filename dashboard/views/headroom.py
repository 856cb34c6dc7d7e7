"""What binds, what is left, how hot the protection is and when it would open, in words of this moment."""

from dataclasses import dataclass, replace

from dashboard.views.figures import percent, seconds
from monitor.protection.words import time_left
from monitor.runtime import Picture, StandingWarning
from monitor.values import Headroom, SupplyLoad

FRESH_S = 3.0
"""What the judge said longer ago is not shown as how things stand."""
TRIP_RULE = "trip-forecast"
WIDE = 0.1
"""Bounds of heat that are further apart than this are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedOpening:
    """When a protection is expected to open, as seen now.

    Attributes:
        in_s: Seconds from now, never below zero; None where it is no longer expected.
        words: The same in words, to stand in a sentence.
    """

    in_s: float | None
    words: str


def fresh_load(picture: Picture, supply: str) -> SupplyLoad | None:
    """What the judge said of a supply, where that is not old."""
    found = next((load for load in picture.loads if load.name == supply), None)
    return found if found is not None and picture.now_s - found.at_s <= FRESH_S else None


def opening(standing: StandingWarning, picture: Picture) -> ExpectedOpening | None:
    """When what a warning tells of is expected now; None where it told no time.

    A supply's own forecast goes on after the warning rose; what that says now comes before a countdown of what was said then.
    """
    warning = standing.warning
    if warning.trip_in_s is None:
        return None
    load = fresh_load(picture, warning.scope.name.split("/")[0]) if warning.scope.kind != "district" else None
    if load is None:
        left_s = max(0.0, warning.start_s + warning.trip_in_s - picture.now_s)
        return ExpectedOpening(in_s=left_s, words=f"in about {seconds(left_s)}")
    if load.forecast is None:
        return ExpectedOpening(in_s=None, words="not at the present draw")
    gone_s = picture.now_s - load.at_s
    now = replace(
        load.forecast,
        in_s=max(0.0, load.forecast.in_s - gone_s),
        earliest_s=max(0.0, load.forecast.earliest_s - gone_s),
        latest_s=None if load.forecast.latest_s is None else max(0.0, load.forecast.latest_s - gone_s),
    )
    words = time_left(now) if warning.rule == TRIP_RULE else f"in about {seconds(now.in_s)}"
    return ExpectedOpening(in_s=now.in_s, words="any moment" if now.in_s < 1 and not now.is_late else words)


def message_now(standing: StandingWarning, picture: Picture) -> str:
    """The warning's message with the time that is left now in place of the time that was left when it rose."""
    warning = standing.warning
    now = opening(standing, picture)
    if now is None or not warning.time_words:
        return warning.message
    return warning.message.replace(warning.time_words, now.words, 1)


def left_words(room: Headroom) -> str:
    """How much is left, or how much is too much."""
    if room.amps_left is None:
        return ""
    va = f" ({abs(room.va_left):.0f} VA)" if room.va_left is not None else ""
    return f"{abs(room.amps_left):.1f} A{va} {'left' if room.amps_left >= 0 else 'too much'}"


def district_room(load: SupplyLoad | None, district: str) -> str:
    """What is left on a district and what still fits; empty where nobody knows."""
    place = next((place for place in load.districts if place.name == district), None) if load is not None else None
    if place is None or place.amps is None:
        return ""
    left = left_words(place.headroom)
    if not left:
        return ""
    return f"{left}: {place.headroom.sentence}" if place.headroom.sentence else left


def supply_room(load: SupplyLoad | None) -> str:
    """Which limit of a supply binds and what is left under it."""
    if load is None or load.amps is None or load.headroom.binding is None:
        return ""
    binding = load.headroom.binding.words
    return f"{binding[0].upper()}{binding[1:]} binds: {percent(load.headroom.share)} used, {left_words(load.headroom)}"


def heat_words(load: SupplyLoad | None, now_s: float) -> str:
    """How hot the protection is, or since when it is open and when it may come back."""
    if load is None or load.heat is None:
        return ""
    if load.is_open:
        since = f"open for {seconds(now_s - (load.open_since_s or now_s))}"
        back = "reset it by hand" if load.reset_in_s is None else f"back by itself in about {seconds(load.reset_in_s)}"
        return f"Protection {since}, cooled to {percent(load.heat)} of opening heat: {back}"
    low, high = load.heat_lowest, load.heat_highest
    unsure = (
        f" (between {percent(low)} and {percent(high)})" if low is not None and high is not None and high - low > WIDE else ""
    )
    opens = f"; opens {time_left(load.forecast)}" if load.forecast is not None else ""
    return f"Protection at {percent(load.heat)} of opening heat{unsure}{opens}"
