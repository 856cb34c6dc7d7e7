"""What a supply's plate says: does it suit this mains, and what do its figures and its protection mean?

Sources: E = 4.44 f N phi (textbook), so flux goes with volts over hertz; mains may stand 10 % above its nominal volts (IEC 60038), so a
core made for it stands as much; transformers are tested for heat at 1.06 times their rated volts (IEC 61558-1, clause 14, from memory).
Limits of toy transformers, IEC 61558-2-7 (200 VA and 10 A are repeated in NEM 609:2010, section 6.1; the volts are not); fuses
IEC 60127, circuit-breakers for equipment IEC 60934; the rest is common practice, no published source.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from monitor.layout import Mains, Supply
from monitor.layout.ratings import TOY_LIMIT_AMPS, TOY_LIMIT_VA, TOY_LIMIT_VOLTS, winding_amps
from monitor.words.figures import percent

WARM_RATIO = 1.06
"""Above this share of its rated volts over hertz a transformer is run harder than it was tested for heat (IEC 61558-1, from memory)."""
TOLERANCE = 0.10
"""Mains against the plate, either way (IEC 60038: 10 % about the nominal volts)."""
BURN_RATIO = 1.20
"""From here on the iron is far beyond its knee and the primary burns. Common practice, no published source: cores work just below it."""
TWO_RANGES_RATIO = 1.35
"""Plate figures further apart belong to two settings, or to a wide-range supply: 100 to 127 V are one region, 200 to 240 V another."""

ADAPTER = (
    "A plug adapter changes the pins and nothing else; a converter changes volts but not hertz, and must carry the full rating."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsMatch:
    """How a plate and a mains go together.

    Attributes:
        misfit: What is wrong; empty where nothing is known to be.
        remedy: What that means, and what to do.
        burns: It would overheat at once.
        note: What to know although it fits.
        questions: (key of the layout file, question) for what the plate has to say first.
    """

    misfit: str = ""
    remedy: str = ""
    burns: bool = False
    note: str = ""
    questions: tuple[tuple[str, str], ...] = ()


def match_mains(supply: Supply, mains: Mains) -> MainsMatch:
    """Compare a plate with a mains; a supply with a selector by the range it is set to."""
    ranges = _ranges(supply)
    found = [_misfit(volts, supply.input_hertz, mains) for volts in ranges]
    if found and all(each.misfit for each in found):
        return min(found, key=lambda each: each.burns)
    questions = tuple(_questions(supply, ranges))
    if questions:
        return MainsMatch(questions=questions)
    return next(each for each in found if not each.misfit)


def flux_ratio(volts: float, hertz: float, mains: Mains) -> float:
    """Core flux on this mains against that at the plate's volts and hertz."""
    return (mains.volts / mains.hertz) / (volts / hertz)


def _questions(supply: Supply, ranges: list[tuple[float, ...]]) -> Iterator[tuple[str, str]]:
    if supply.input_volts is None:
        yield "input_volts", "For how many mains volts is it made, as its plate reads?"
    if supply.input_hertz is None:
        yield "input_hertz", "For how many hertz (cycles) is it made, as its plate reads?"
    if len(ranges) > 1:
        yield (
            "selector_volts",
            "Its plate gives two ranges of mains volts: to which is its selector or link set (0: wide range, it needs none)?",
        )


def _ranges(supply: Supply) -> list[tuple[float, ...]]:
    """The ranges of mains volts that may hold: one where the plate gives one or the selector is known."""
    figures, chosen = supply.input_volts, supply.condition.selector_volts if supply.condition is not None else None
    if not figures:
        return []
    groups = [[figures[0]]]
    for before, figure in itertools.pairwise(figures):
        if figure > before * TWO_RANGES_RATIO:
            groups.append([])
        groups[-1].append(figure)
    if len(groups) == 1 or chosen == 0:
        return [figures]
    if chosen is not None:
        return [tuple(min(groups, key=lambda group: min(abs(figure - chosen) for figure in group)))]
    return [tuple(group) for group in groups]


def _misfit(figures: tuple[float, ...], hertz: tuple[float, ...] | None, mains: Mains) -> MainsMatch:
    """What is wrong with one range of volts; the hertz count where the plate gives them."""
    low, high = min(figures), max(figures)
    plate = f"{low:g} V" if low == high else f"{low:g}-{high:g} V"
    lowest = min(hertz) if hertz else None
    flux = flux_ratio(high, lowest, mains) if lowest is not None else mains.volts / high
    made = f"It is made for {plate}" + (f" and {lowest:g} Hz" if lowest is not None else "")
    here = f"{made}; the mains here is {mains.volts:g} V, {mains.hertz:g} Hz"
    if mains.volts < low * (1 - TOLERANCE):
        return MainsMatch(
            misfit=f"{here}.",
            remedy=f"It gives about {percent(mains.volts / low)} of its volts: use one made for this mains. {ADAPTER}",
        )
    if max(flux, mains.volts / high) <= 1 + TOLERANCE + 1e-9:
        return MainsMatch(note=_warm_note(flux))
    over = f"{here}: {mains.volts / high:.2f} times its volts, {flux:.2f} times the flux in its core."
    return MainsMatch(
        misfit=over, remedy=_over_remedy(flux, mains.volts / high), burns=max(flux, mains.volts / high) > BURN_RATIO
    )


def _warm_note(flux: float) -> str:
    if flux <= WARM_RATIO:
        return ""
    return (
        f"Its core runs at {flux:.2f} times the flux of its plate here, within the mains' tolerance: it hums, runs warmer and gives some "
        "more volts than its plate says. Feel it after a quarter of an hour, and measure its volts."
    )


def _over_remedy(flux: float, volts_ratio: float) -> str:
    if max(flux, volts_ratio) > BURN_RATIO:
        return (
            f"The iron saturates, the primary draws a heavy current without any load and burns: never plug it in here. {ADAPTER}"
        )
    if flux <= 1 + TOLERANCE:
        return "Its core stands that, its output does not: all its volts are too high. Use one made for this mains."
    return (
        "It would not burn at once, but it hums and runs too warm, and what it gives is too high: use one made for this mains, or an "
        "isolated step-down transformer that carries its full rating, fitted by somebody competent."
    )


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
        yield "Its protection closes by itself: switch off and find the short first, or it heats up and opens again and again."
    if reset == "manual":
        yield "Its protection stays open until it is reset by hand: find the short first, then reset it."
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
