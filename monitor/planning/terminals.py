"""Which terminal is the common? Worked out from volts between pairs at two throttle positions.

All windings of one supply are in phase or in anti-phase, so every terminal has a place on one line of volts and a voltmeter shows
the distance between two places (textbook: phasors on one axis). Turning the throttle moves the variable terminals and leaves the
others. The common is the fixed terminal from which the variable terminals rise by all that the throttle moves them: of several, the one
that gives the plate's highest volts, or without a plate the one that begins lowest.
"""

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError

Pair = frozenset[str]
VOLTS_TOLERANCE = 0.6
SHARE_TOLERANCE = 0.06
"""A cheap meter on a lightly loaded winding: half a volt or six per cent, whichever is more."""
TERMINALS_LIMIT = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class PairFinding:
    """What one pair of terminals gives.

    Attributes:
        terminals: The pair, common first where it is one of them.
        kind: "variable" or "constant".
        low_volts: At the lowest throttle position.
        high_volts: At the highest.
    """

    terminals: tuple[str, str]
    kind: Literal["variable", "constant"]
    low_volts: float
    high_volts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalFinding:
    """What the terminals of a supply are.

    Attributes:
        common: The common of the variable terminals; None where nothing moves.
        variable: Terminals that the throttle moves.
        fixed: The others, without the common.
        pairs: Every pair measured.
        other_commons: Fixed terminals that serve as the common of a constant pair of their own: a "common" that differs by pairing.
        low_place_volts: Place of each terminal on the line of volts at low throttle, the common at 0.
        high_place_volts: The same at high throttle.
    """

    common: str | None
    variable: tuple[str, ...]
    fixed: tuple[str, ...]
    pairs: tuple[PairFinding, ...]
    other_commons: tuple[str, ...]
    low_place_volts: Mapping[str, float]
    high_place_volts: Mapping[str, float]


def find_terminals(
    low_volts: Mapping[Pair, float], high_volts: Mapping[Pair, float], *, max_volts: float | None = None
) -> TerminalFinding:
    """Work out what the terminals are.

    Args:
        low_volts: Volts between every pair of terminals at the lowest throttle position.
        high_volts: The same at the highest.
        max_volts: Highest output volts by the plate, where known: it decides between several fixed terminals that would do.

    Raises:
        LayoutError: A pair is missing, or the figures do not fit one another; the message names the pair to measure again.
    """
    terminals = sorted({terminal for pair in low_volts for terminal in pair})
    _check_complete(terminals, low_volts, high_volts)
    low, high = _places(terminals, low_volts), _places(terminals, high_volts)
    variable = _moved(terminals, low_volts, high_volts)
    fixed = [terminal for terminal in terminals if terminal not in variable]
    common = _common(fixed, variable, low_volts, high_volts, max_volts)
    origin = common or terminals[0]
    return TerminalFinding(
        common=common,
        variable=tuple(variable),
        fixed=tuple(terminal for terminal in fixed if terminal != common),
        pairs=tuple(_pair(pair, common, low_volts, high_volts) for pair in itertools.combinations(terminals, 2)),
        other_commons=tuple(_other_commons(fixed, common, low_volts)),
        low_place_volts={terminal: low[terminal] - low[origin] for terminal in terminals},
        high_place_volts={terminal: high[terminal] - high[origin] for terminal in terminals},
    )


def _check_complete(terminals: list[str], low: Mapping[Pair, float], high: Mapping[Pair, float]) -> None:
    if not 2 <= len(terminals) <= TERMINALS_LIMIT:
        raise LayoutError(f"measure between 2 and {TERMINALS_LIMIT} terminals, not {len(terminals)}")
    for pair in itertools.combinations(terminals, 2):
        for volts, position in ((low, "lowest"), (high, "highest")):
            if frozenset(pair) not in volts:
                raise LayoutError(
                    f"the volts between {pair[0]} and {pair[1]} at the {position} throttle position are missing: measure them"
                )


def _close(a: float, b: float) -> bool:
    return abs(a - b) <= max(VOLTS_TOLERANCE, SHARE_TOLERANCE * max(abs(a), abs(b)))


def _places(terminals: list[str], volts: Mapping[Pair, float]) -> dict[str, float]:
    """Places on a line whose distances are the measured volts; of the two mirror images the one that fits comes first."""
    first = terminals[0]
    best: tuple[float, dict[str, float]] | None = None
    for signs in itertools.product((1, -1), repeat=len(terminals) - 1):
        places = {first: 0.0}
        places |= {t: sign * volts[frozenset((first, t))] for t, sign in zip(terminals[1:], signs, strict=True)}
        wrong = max(abs(abs(places[a] - places[b]) - volts[frozenset((a, b))]) for a, b in itertools.combinations(terminals, 2))
        if best is None or wrong < best[0]:
            best = wrong, places
    if best is None:
        raise LayoutError("no volts were measured")
    places = best[1]
    for a, b in itertools.combinations(terminals, 2):
        if not _close(abs(places[a] - places[b]), volts[frozenset((a, b))]):
            raise LayoutError(
                f"the volts between {a} and {b} ({volts[frozenset((a, b))]:g} V) do not fit the other figures: measure that pair again, "
                "with the meter on AC for an AC supply and a lamp as a small load"
            )
    return places


def _moved(terminals: list[str], low: Mapping[Pair, float], high: Mapping[Pair, float]) -> list[str]:
    """The smaller group that moved against the larger one; the larger group keeps its distances within itself."""

    def still(group: tuple[str, ...]) -> bool:
        return all(_close(low[frozenset(pair)], high[frozenset(pair)]) for pair in itertools.combinations(group, 2))

    for size in range(len(terminals), 0, -1):
        groups = [group for group in itertools.combinations(terminals, size) if still(group)]
        if groups:
            # Where several groups fit, the fixed one is that from which the others rise most: the throttle was turned up.
            groups.sort(key=lambda group: -_rise(group, terminals, low, high))
            fixed = groups[0]
            if len(groups) > 1 and _close(_rise(groups[1], terminals, low, high), _rise(fixed, terminals, low, high)):
                raise LayoutError(
                    "these figures fit two ways of wiring: turn the throttle to another low position and measure again"
                )
            return [terminal for terminal in terminals if terminal not in fixed]
    return []


def _rise(group: tuple[str, ...], terminals: list[str], low: Mapping[Pair, float], high: Mapping[Pair, float]) -> float:
    others = [terminal for terminal in terminals if terminal not in group]
    return max((sum(high[frozenset((g, o))] - low[frozenset((g, o))] for o in others) for g in group), default=0.0)


def _common(
    fixed: list[str], variable: list[str], low: Mapping[Pair, float], high: Mapping[Pair, float], max_volts: float | None
) -> str | None:
    if not variable:
        return None
    rising = [
        terminal
        for terminal in fixed
        if all(high[frozenset((terminal, other))] > low[frozenset((terminal, other))] + VOLTS_TOLERANCE for other in variable)
    ]
    if not rising:
        return None
    most = max(_rise((terminal,), [terminal, *variable], low, high) for terminal in rising)
    fullest = [terminal for terminal in rising if _close(_rise((terminal,), [terminal, *variable], low, high), most)]
    if max_volts is None:
        return min(fullest, key=lambda terminal: sum(low[frozenset((terminal, other))] for other in variable))
    return min(fullest, key=lambda terminal: abs(max(high[frozenset((terminal, other))] for other in variable) - max_volts))


def _pair(pair: tuple[str, str], common: str | None, low: Mapping[Pair, float], high: Mapping[Pair, float]) -> PairFinding:
    key = frozenset(pair)
    ordered = (pair[1], pair[0]) if pair[1] == common else pair
    return PairFinding(
        terminals=ordered,
        kind="constant" if _close(low[key], high[key]) else "variable",
        low_volts=low[key],
        high_volts=high[key],
    )


def _other_commons(fixed: list[str], common: str | None, low: Mapping[Pair, float]) -> list[str]:
    """Fixed terminals near the common in volts but apart from it: what is called common there is another one."""
    if common is None:
        return []
    return [
        terminal
        for terminal in fixed
        if terminal != common
        and any(
            low[frozenset((terminal, other))] > low[frozenset((terminal, common))]
            for other in fixed
            if other not in (terminal, common)
        )
    ]


def wiring_card(found: TerminalFinding, *, rails: Literal[2, 3] = 3) -> str:
    """Which wire goes where, for three-rail or two-rail track; plain text to print."""
    rows = ["Wiring card", ""]
    if found.common is None:
        rows.append("No terminal moves with the throttle: a constant supply. Use it for accessories.")
    else:
        rows.append(
            f"{found.common}: common, to the {'outer rails' if rails == 3 else 'one rail'} of the track and the accessory common"
        )
        for terminal in found.variable:
            low, high = sorted((abs(found.low_place_volts[terminal]), abs(found.high_place_volts[terminal])))
            rows.append(f"{terminal}: variable {low:.1f}-{high:.1f} V, to the {'centre rail' if rails == 3 else 'other rail'}")
        rows.extend(
            f"{terminal}: constant {abs(found.low_place_volts[terminal]):.1f} V against {found.common}, for accessories"
            for terminal in found.fixed
        )
    if found.other_commons:
        names = " and ".join(found.other_commons)
        rows.append(
            f"Careful: {names} can be taken for a common too, but gives other volts against each terminal. Measure each pair used."
        )
    rows += ["", "Low-voltage side only. Unplug before wiring; local codes and the maker's instructions come first."]
    return "\n".join(rows) + "\n"
