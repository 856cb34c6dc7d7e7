"""Phasing several supplies with a meter: what to do, in which order, and what to expect.

Sources: NEM 609:2010 section 6.1 forbids series or parallel connection of the outputs of several transformers (a phase error gives a
short circuit or too many volts, and back-transformation puts mains volts on the plug of one that is unplugged); figures from textbook
phasors on one axis.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.layout import Layout, Supply

LOW_SHARE = 0.3
"""Of the highest volts: the throttle position at which to test."""

CAUTIONS = (
    "Never join the hot outputs of separate transformers: NEM 609, section 6.1, forbids series and parallel connection outright.",
    "Back-feed: a transformer works both ways. Joined outputs put mains volts on the plug pins of one that is unplugged, even in phase.",
    "Mark all plugs, keep them on one switched power strip, and never pull one alone.",
    "Only the commons may meet, and only after this test, where the track needs one common rail.",
    "A train that bridges the gap between two districts joins their hots for a moment: that is why the phase matters.",
    "Low-voltage side only. Local codes, the makers' instructions and a licensed practitioner come first.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """What a meter between two hots shows, commons joined.

    Attributes:
        in_phase_volts: The smaller figure.
        anti_phase_volts: The larger one.
    """

    in_phase_volts: float
    anti_phase_volts: float


def expected_volts(first_volts: float, second_volts: float) -> Expectation:
    """|V1 - V2| in phase, V1 + V2 in anti-phase (textbook)."""
    return Expectation(in_phase_volts=abs(first_volts - second_volts), anti_phase_volts=first_volts + second_volts)


def judge_reading(first_volts: float, second_volts: float, between_volts: float) -> str:
    """What a meter reading between the hots means: "in-phase", "anti-phase" or "unclear"."""
    expected = expected_volts(first_volts, second_volts)
    span = expected.anti_phase_volts - expected.in_phase_volts
    place = (between_volts - expected.in_phase_volts) / span if span > 0 else 0.5
    if place < 0.25:
        return "in-phase"
    return "anti-phase" if place > 0.75 else "unclear"


MEANINGS = {
    "in-phase": "In phase: mark both plugs the same way up and keep them so.",
    "anti-phase": "In anti-phase: switch off at the strip, turn ONE plug round (or swap one supply's pair of output wires where its plug "
    "goes in one way only), and measure again. Do not run trains across the gap before that.",
    "unclear": "Neither: the supplies are not alike enough (one DC, one phase-cut, other volts). Do not join their commons.",
}


def guide(layout: Layout) -> str:
    """The whole walk, plain text: the cautions first, then each pair of AC supplies."""
    supplies = [supply for supply in layout.supply if supply.current == "ac"]
    rows = ["Phasing supplies with a meter", "", "Before the first step:", *(f"  ! {caution}" for caution in CAUTIONS), ""]
    if len(supplies) < 2:
        return "\n".join([*rows, "This layout has fewer than two AC supplies: there is nothing to phase."]) + "\n"
    first = supplies[0]
    for other in supplies[1:]:
        rows += _steps(first, other)
    return "\n".join(rows) + "\n"


def _steps(first: Supply, other: Supply) -> Iterator[str]:
    low, other_low = LOW_SHARE * first.max_volts, LOW_SHARE * other.max_volts
    expected = expected_volts(low, other_low)
    yield f"{first.name} and {other.name}"
    yield "  1. Both plugs in one switched strip, strip off, all trains off the track. Mark which way up each plug is."
    yield f"  2. Join the two commons with one wire and nothing else. Set both throttles low: about {low:.0f} V and {other_low:.0f} V."
    yield "  3. Strip on. Meter on AC volts, between the two hots (a lamp in parallel steadies it)."
    yield f"  4. In phase it shows about {expected.in_phase_volts:.0f} V, in anti-phase about {expected.anti_phase_volts:.0f} V."
    yield f"  5. {MEANINGS['anti-phase']}"
    yield "  6. Strip off before you touch a wire. Tape the plugs to the strip so that none is ever unplugged alone."
    yield ""
