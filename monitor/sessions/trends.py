"""How things change from session to session, and two sessions side by side."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean

from monitor.sessions.figures import SessionReview


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionTrend:
    """One figure over sessions.

    Attributes:
        figure: What, with its unit.
        where: Which district or supply; empty for the whole layout.
        points: (began_at, value), oldest first.
    """

    figure: str
    where: str
    points: tuple[tuple[datetime, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One figure of two sessions, and whether it is a lower bound in each, since a sensor's range ended there."""

    figure: str
    where: str
    first: float | None
    second: float | None
    at_least: tuple[bool, bool] = (False, False)

    @property
    def change(self) -> float | None:
        """Second less first; None where one of them is only a lower bound."""
        return None if self.first is None or self.second is None or any(self.at_least) else self.second - self.first


def trends(reviews: Iterable[SessionReview]) -> tuple[SessionTrend, ...]:
    """Stalls an hour, supply resistance, feeder resistance and opening times over sessions."""
    ordered = sorted(reviews, key=lambda each: each.began_at)
    found: dict[tuple[str, str], list[tuple[datetime, float]]] = {}
    for each in ordered:
        for (figure, where), value in figures_of(each).items():
            if figure in TREND_FIGURES and value is not None:
                found.setdefault((figure, where), []).append((each.began_at, value))
    return tuple(SessionTrend(figure=figure, where=where, points=tuple(points)) for (figure, where), points in found.items())


def side_by_side(first: SessionReview, second: SessionReview) -> tuple[Compared, ...]:
    """All figures of two sessions; a district or supply that only one of them has stands with an empty other half."""
    one, other, bounds = figures_of(first), figures_of(second), (_bounds(first), _bounds(second))
    return tuple(
        Compared(
            figure=key[0],
            where=key[1],
            first=one.get(key),
            second=other.get(key),
            at_least=(key in bounds[0], key in bounds[1]),
        )
        for key in dict.fromkeys([*one, *other])
    )


def _bounds(review: SessionReview) -> set[tuple[str, str]]:
    """Which figures are lower bounds."""
    found = set()
    for district in review.districts:
        marks = {
            "volts mean (V)": district.volts_clipped,
            "amps mean (A)": district.amps_clipped,
            "amps highest (A)": district.amps_clipped,
            "energy (Wh)": district.power_clipped,
        }
        found |= {(figure, district.name) for figure, clipped in marks.items() if clipped}
    of_supplies = ("VA mean", "VA highest second", "share of plate, highest (%)")
    return found | {(figure, supply.name) for supply in review.supplies if supply.clipped for figure in of_supplies}


def figures_of(review: SessionReview) -> dict[tuple[str, str], float | None]:
    """Every figure of a session by (figure with its unit, where)."""
    found: dict[tuple[str, str], float | None] = {
        ("duration (min)", ""): review.duration_s / 60,
        ("stalls an hour", ""): review.stalls_an_hour,
        ("warnings", ""): float(len(review.warnings)),
    }
    for supply in review.supplies:
        spread = supply.volt_amperes
        found["VA mean", supply.name] = None if spread is None else spread.mean
        found["VA highest second", supply.name] = None if spread is None else spread.highest
        found["share of plate, highest (%)", supply.name] = None if supply.share_highest is None else 100 * supply.share_highest
        found["supply resistance (ohm)", supply.name] = supply.source_ohms
        found["protection opened after (s)", supply.name] = fmean(supply.opened_after_s) if supply.opened_after_s else None
    for district in review.districts:
        found["volts mean (V)", district.name] = None if district.volts is None else district.volts.mean
        found["amps mean (A)", district.name] = None if district.amps is None else district.amps.mean
        found["amps highest (A)", district.name] = None if district.amps is None else district.amps.highest
        found["energy (Wh)", district.name] = district.energy_wh
        found["feeder resistance (ohm)", district.name] = district.loop_ohms
        found["stalls", district.name] = float(sum(district.stalls.values()))
    return found


TREND_FIGURES = frozenset(
    ["stalls an hour", "supply resistance (ohm)", "feeder resistance (ohm)", "protection opened after (s)", "VA highest second"]
)
