"""Figures as every sentence writes them: shares, amps with their volt-amperes, spans of time."""

import math


def percent(share: float | None, decimals: int = 0) -> str:
    """A share as per cent; a dash where it is not known."""
    return "–" if share is None or not math.isfinite(share) else f"{share * 100:.{decimals}f} %"


def amps_va(amps: float, va: float | None) -> str:
    """Amps, and what they are in VA at the present volts where that is known."""
    return f"{amps:.1f} A" + (f" ({va:.0f} VA)" if va is not None else "")


def span(seconds: float) -> str:
    """Seconds that are not known closely: "7 s", "25 s", "2 min"."""
    if seconds < 10:
        return f"{max(1, round(seconds))} s"
    if seconds < 90:
        return f"{5 * round(seconds / 5)} s"
    return f"{round(seconds / 60)} min"


def seconds(value: float) -> str:
    """Seconds that were measured: "8 s", "2 min 5 s", "3 h 4 min"."""
    whole = max(0, round(value))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 and whole < 600 else f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60} min"
