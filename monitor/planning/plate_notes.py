"""What a supply's plate and protection mean, in sentences, and how protection is added to a supply without.

Sources: limits of toy transformers, IEC 61558-2-7 (200 VA and 10 A are repeated in NEM 609:2010, section 6.1; the volts are not); fuses
IEC 60127, circuit-breakers for equipment IEC 60934; the rest is common practice, no published source.
"""

from collections.abc import Iterator

from monitor.layout import Supply
from monitor.layout.ratings import TOY_LIMIT_AMPS, TOY_LIMIT_VA, TOY_LIMIT_VOLTS, winding_amps

STARTER_VA = 25.0
"""Common practice, no published source."""


def plate_notes(supply: Supply) -> Iterator[str]:
    """What to know about a plate, one sentence each."""
    yield from _rating_notes(supply)
    yield from _kind_notes(supply)
    amps = supply.plate_va / supply.max_volts
    limit_volts = TOY_LIMIT_VOLTS[supply.current]
    if supply.plate_va > TOY_LIMIT_VA or amps > TOY_LIMIT_AMPS + 1e-9 or supply.max_volts > limit_volts:
        yield (
            f"It is outside the limits for toy transformers of IEC 61558-2-7 (200 VA, 10 A, {limit_volts:g} V): "
            "treat it as a workshop supply, and add a fuse in the hot lead of each output."
        )


def _rating_notes(supply: Supply) -> Iterator[str]:
    """What the plate's figure means."""
    if supply.rated_watts is not None:
        yield "The plate gives watts. With motors the volt-amperes are higher than the watts, so the plate is reached earlier than it seems."
    else:
        yield "The plate gives volt-amperes: volts times amps as meters show them, whatever the kind of load."
    if supply.rating_is == "input":
        yield "The plate rates the primary side: some of it turns to heat, so less comes out (common practice: 70-80 %)."
    yield f"The plate's {supply.plate_va:g} is the total over all outputs together; what accessories draw comes out of it."
    if supply.plate_va <= STARTER_VA:
        yield "A supply of this size comes with starter sets (20-25 VA): enough for one small engine and little else."


def _kind_notes(supply: Supply) -> Iterator[str]:
    """What comes out, and what its protection does."""
    if supply.current == "dc":
        yield "It gives direct current (a power pack or rectifier). Its accessory pair is usually alternating: measure it before use."
    reset = supply.condition.breaker_reset if supply.condition is not None else None
    if reset == "auto":
        yield "Its breaker comes back by itself: switch off and find the short first, or it heats up and opens again and again."
    if reset == "manual":
        yield "Its breaker stays open until it is reset by hand: find the short first, then reset it."
    rated = supply.protection.rated_amps if supply.protection is not None else None
    if rated is not None and rated > winding_amps(supply) * 1.001:
        yield (
            f"Its protection holds {rated:g} A for ever; its winding is rated for {winding_amps(supply):.1f} A. Between the two nothing "
            "opens: add a fuse of no more than the winding's amps in the hot lead."
        )
    yield "The breaker protects the house and the person, not the trains."


def added_protection(supply: Supply) -> str:
    """How protection is added to a supply that has none."""
    return (
        "On the output side: a fuse (IEC 60127) or a circuit-breaker for equipment (IEC 60934) in the lead of each hot post, rated for no "
        f"more than the winding's {winding_amps(supply):.1f} A and no more than the thinnest wire behind it carries, all outputs together no "
        "more than the winding. On the mains side, and inside the case, it is for a licensed practitioner. Then answer the question again "
        "and record who fitted what."
    )
