"""Figures as people read them: no more digits than the sensing supports."""

import math

from monitor.layout import District
from monitor.runtime.picture import Picture
from monitor.standing import DistrictNow
from monitor.standing.words import AT_LEAST

NOTHING = "–"
MOST_DECIMALS = 2


def decimals_for(units_per_count: float | None) -> int:
    """Decimals that one count of the converter supports.

    Args:
        units_per_count: Volts or amps for one count; None or 1 and above where readings come ready made.
    """
    if units_per_count is None or units_per_count >= 1 or units_per_count <= 0:
        return MOST_DECIMALS
    return min(MOST_DECIMALS, max(0, math.floor(-math.log10(units_per_count) + 1e-9)))


def figure(value: float | None, decimals: int, *, at_least: bool = False) -> str:
    """A figure with three significant digits at most and never more decimals than given; marked where it is a lower bound."""
    if value is None or not math.isfinite(value):
        return NOTHING
    whole_digits = len(str(int(abs(value))))
    decimals = max(0, min(decimals, 3 - whole_digits))
    text = f"{value:.{decimals}f}"
    return AT_LEAST[at_least] + (text.lstrip("-") if float(text) == 0 else text)


def volt_amperes(value: float | None, *, at_least: bool = False) -> str:
    """VA or watts: whole ones from ten up."""
    return figure(value, 0 if value is None or abs(value) >= 9.95 else 1, at_least=at_least)


def channel_decimals(picture: Picture, district: District) -> tuple[int, int]:
    """Decimals for a district's volts and amps, from what its board said of its channels."""
    seen = picture.boards.get(district.board)
    channels = seen.identity.channels if seen is not None else ()

    def of(channel: int) -> int:
        return decimals_for(channels[channel].units_per_count if channel < len(channels) else None)

    return of(district.volts_channel), of(district.amps_channel)


def power_factor(now: DistrictNow) -> float | None:
    """Real over apparent power (IEEE 1459); None where there is too little to tell."""
    apparent = now.volt_amperes
    return now.watts / apparent if now.watts is not None and apparent is not None and apparent > 1.0 else None


def crest_factor(peak: float | None, rms: float | None, floor: float) -> float | None:
    """Peak over RMS; None below the floor, where noise makes it."""
    return peak / rms if peak is not None and rms is not None and rms > floor else None
