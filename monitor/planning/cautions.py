"""The cautions of a bench and of a show, quoted by the page, the morning list, the README and ``--help``; worst danger first.

Sources stand beside each. NEM 609 is its edition of 2010 with its checklist; "common practice" means that no published source was found.
None of it replaces local codes, the makers' instructions or a licensed practitioner.
"""

from dataclasses import dataclass
from typing import Literal

from monitor.layout.joined_commons import COMMONS

Moment = Literal["bench", "wiring", "show"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution.

    Attributes:
        at: When it matters: at the bench check and a supply's first power-up, when hands are at the wires, at the show.
        source: Where it comes from.
    """

    text: str
    at: frozenset[Moment]
    source: str


def _caution(text: str, at: str, source: str = "common practice") -> Caution:
    names: dict[str, Moment] = {"b": "bench", "w": "wiring", "s": "show"}
    return Caution(text=text, at=frozenset(names[letter] for letter in at), source=source)


CAUTIONS = (
    _caution(
        "Mains can kill. Cords, plugs, strips and whatever is inside a case are for a licensed practitioner; local codes and the makers' "
        "instructions come before anything that pilotlamp says.",
        "bws",
    ),
    _caution(
        "The whole bench hangs on a socket with residual-current protection (30 mA or less; a ground-fault circuit interrupter), and its "
        "test button is pressed before each show. It is no protection between the two wires of an output.",
        "bws",
        "HD 384.7.711, which NEM 609, 6.2 names; 30 mA from memory",
    ),
    _caution(
        "One marked switch turns the whole bench off. Everyone who runs trains knows it and reaches it without leaning over track.",
        "bws",
        "NEM 609, 7.1",
    ),
    _caution(
        "Switch the strip off before a wire is touched, and see the meter at 0 V. Never pull one plug alone where outputs or commons are "
        "joined: its pins may carry mains volts.",
        "w",
        "NEM 609, 6.1",
    ),
    _caution(COMMONS, "w", "NEM 609, 6.1; joining commons is common practice"),
    _caution(
        "Strips are never plugged into strips, never loaded beyond what is printed on them, and do not lie with their sockets upwards.",
        "bs",
        "NEM 609, 7.2",
    ),
    _caution(
        "A supply that passed its bench check but whose past is unknown is first powered alone on the strip, with nothing on its outputs and "
        "somebody at the switch: loud hum, a smell, smoke or a case too hot to hold, and it goes off for good.",
        "b",
    ),
    _caution("Nothing stays powered unattended: the strip goes off whenever the layout is left, and after the show.", "bs"),
    _caution(
        "A breaker that opened has a reason: find it first. After two resets switch off, stop and look. Never bypass a breaker or fuse, "
        "never fit a larger one, never run a supply that has none.",
        "ws",
    ),
    _caution(
        "Visitors, children most of all, cannot reach track, wires or supplies: barriers stand before the doors open. Everyone who runs "
        "trains has been told all of this.",
        "s",
        "NEM 609, 3 and 10, and its checklist",
    ),
    _caution(
        "Smoke units burn fingers and paper: only their own fluid, never dry, off before the engine is lifted.",
        "s",
        "common practice; makers' instructions",
    ),
    _caution(
        "Batteries are charged apart, by their own charger, on something that does not burn, with somebody there; a swollen or hot one goes "
        "outdoors.",
        "s",
    ),
    _caution("If something burns: strip off first, then an extinguisher that is meant for live equipment, and out.", "s"),
)

METER_CAUTIONS = (
    "Measure on the track side only, on output posts or rails. Never open a supply, never touch its mains side.",
    "Amps go in series, never across an output: a meter on its amps range is a short.",
    "Switch the strip off before a feeder is opened or closed, and put the lead back into the volts jack at once afterwards.",
    "Look at leads and range first; cracked leads are not used. A phase-cut supply needs a meter that shows true RMS.",
    "Local codes and the makers' instructions come first.",
)
"""What a meter in the hand asks for, volts and amps; common practice, no published source."""

OF_COMMAND: dict[str, Moment] = {
    "bench": "bench",
    "terminals": "wiring",
    "wiring": "wiring",
    "phase": "wiring",
    "share": "wiring",
    "budget": "wiring",
    "calibrate": "wiring",
    "learn": "wiring",
    "layout": "wiring",
    "watch": "show",
    "demo": "show",
    "hall": "show",
    "morning": "show",
    "report": "wiring",
}
"""Commands whose output leads a hand to a wire or a switch, and the moment whose cautions their help quotes."""


def cautions_at(moment: Moment) -> tuple[str, ...]:
    """What matters at a moment, worst danger first."""
    return tuple(caution.text for caution in CAUTIONS if moment in caution.at)
