"""Sentences of warnings: for a visitor who helps out and has never read a manual."""

from collections.abc import Sequence

from monitor.layout import Layout
from monitor.protection.alarms import Said
from monitor.protection.step_source import StepSource
from monitor.values import Limit, TripForecast


def span(seconds: float) -> str:
    """Seconds as a person says them."""
    if seconds < 10:
        return f"{max(1, round(seconds))} s"
    if seconds < 90:
        return f"{5 * round(seconds / 5)} s"
    return f"{round(seconds / 60)} min"


def trip_forecast(supply: str, amps: float, hold_amps: float, forecast: TripForecast, source: StepSource | None) -> Said:
    """The protection is about to open."""
    latest = "or never" if forecast.latest_s is None else f"to {span(forecast.latest_s)}"
    message = (
        f"{supply} is overloaded: {amps:.1f} A drawn, its protection holds about {hold_amps:.1f} A and will open in about "
        f"{span(forecast.in_s)} ({span(forecast.earliest_s)} {latest})" + cause(source)
    )
    where = f"on {source.district}" if source is not None else f"fed by {supply}"
    return Said(
        message=message,
        advice=f"Stop a train or switch something off {where} now; the trains on {supply} stop otherwise.",
        trip_in_s=forecast.in_s,
        trip_earliest_s=forecast.earliest_s,
        trip_latest_s=forecast.latest_s,
        share=amps / hold_amps,
        limit=f"the {supply} protection",
    )


def over_limit(limit: Limit, share: float, amps: float, source: StepSource | None, trip_in_s: float | None) -> Said:
    """More is drawn than a rating allows for good."""
    left = "nothing will switch it off by itself" if trip_in_s is None else f"it may open in about {span(trip_in_s)}"
    return Said(
        message=f"{limit.place} carries {amps:.1f} A, {share:.0%} of {limit.words}; {left}" + cause(source),
        advice=f"Within the next minutes, stop one train or switch something off on {source.district if source else limit.place}.",
        trip_in_s=trip_in_s,
        limit=limit.words,
        share=share,
    )


def near_limit(limit: Limit, share: float, sentence: str) -> Said:
    """Close to a rating."""
    return Said(
        message=f"{limit.place} is at {share:.0%} of {limit.words}: {sentence or 'nothing more fits'}.",
        advice="Add nothing more there; no hurry.",
        limit=limit.words,
        share=share,
    )


def unguarded(supply: str, share: float) -> Said:
    """Far beyond the rating and nothing to switch it off."""
    return Said(
        message=f"{supply} has carried {share:.0%} of its rating for a minute and nothing is known that would switch it off.",
        advice=f"Switch {supply} off now and let it cool before looking for the cause.",
        share=share,
    )


def opened(supply: str, reset_in_s: float | None, *, after_short: bool) -> Said:
    """The protection has opened."""
    why = "after a short" if after_short else "after an overload"
    back = "it has to be reset by hand" if reset_in_s is None else f"it may come back by itself in about {span(reset_in_s)}"
    return Said(
        message=f"The protection of {supply} has opened {why}: everything it feeds is dead, and {back}.",
        advice=f"Turn the throttles of {supply} down and take the cause away before power returns.",
    )


def short(district: str, amps: float, volts: float) -> Said:
    """A hard short."""
    return Said(
        message=f"Short circuit on {district}: {amps:.0f} A flow and only {volts:.1f} V are left.",
        advice=f"Turn {district} off now, then look for derailed wheels or metal across the rails.",
    )


def cause(source: StepSource | None) -> str:
    """Which step caused it, and what may explain it."""
    if source is None:
        return "."
    told = f". It began when {source.district} went up by {source.amps:.1f} A"
    return told + (f", as {' or '.join(source.loads)} would draw." if source.loads else ", which no single known load explains.")


def fits(layout: Layout, district: str, amps_left: float, limit: Limit | None) -> str:
    """What still fits on a district and what binds."""
    binds = f"; {limit.words} binds" if limit is not None else ""
    sizes = sorted({load.running_amps for load in layout.load if load.kind == "locomotive" and load.running_amps > 0.2} or {2.0})
    fitting = [size for size in sizes if size <= amps_left]
    if not fitting:
        return f"no further engine fits on {district}{binds}"
    count = int(amps_left // fitting[-1])
    engines = f"one more {fitting[-1]:g} A engine fits" if count == 1 else f"{count} more {fitting[-1]:g} A engines fit"
    return f"{engines} on {district}{binds}"


def most_used(pairs: Sequence[tuple[Limit, float]]) -> tuple[Limit, float] | None:
    """The limit with the least left in proportion."""
    return max(pairs, key=lambda pair: pair[1]) if pairs else None
