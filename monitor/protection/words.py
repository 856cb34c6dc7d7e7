"""Sentences of warnings: for a visitor who helps out and has never read a manual."""

from dataclasses import dataclass

from monitor.layout import District, Layout, Protection, Supply
from monitor.protection import thresholds as th
from monitor.protection.alarms import Wording
from monitor.protection.heat import HeatTrack
from monitor.protection.step_source import StepSource
from monitor.values import Limit, TripForecast


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """A limit and what flows under it.

    Attributes:
        limit: The limit.
        amps: What flows.
        va: Likewise.
    """

    limit: Limit
    amps: float
    va: float

    @property
    def share(self) -> float:
        """Share of the limit."""
        return self.amps / self.limit.amps if self.limit.amps is not None else self.va / (self.limit.va or 1.0)

    @property
    def left(self) -> tuple[float, float]:
        """Amps and VA that are left at the present volts; negative beyond the limit."""
        volts = self.va / self.amps if self.amps > 0 else 0.0
        if self.limit.amps is not None:
            amps = self.limit.amps - self.amps
            return amps, amps * volts
        va = (self.limit.va or 0.0) - self.va
        return (va / volts if volts else 0.0), va


def span(seconds: float) -> str:
    """Seconds as a person says them."""
    if seconds < 10:
        return f"{max(1, round(seconds))} s"
    if seconds < 90:
        return f"{5 * round(seconds / 5)} s"
    return f"{round(seconds / 60)} min"


def time_left(forecast: TripForecast) -> str:
    """How long until it opens, with what is not known of it and what would narrow that."""
    latest = "or never" if forecast.latest_s is None else f"to {span(forecast.latest_s)}"
    late = ", later than typical: this one is slow" if forecast.is_late else ""
    is_vague = forecast.latest_s is None or forecast.latest_s > th.VAGUE_TIMES * forecast.earliest_s + th.VAGUE_S
    narrow = "; type in points from its data sheet to narrow this" if is_vague and not forecast.has_points else ""
    return f"in about {span(forecast.in_s)} ({span(forecast.earliest_s)} {latest}{late}{narrow})"


def trip_forecast(supply: Supply, amps: float, heat: HeatTrack, forecast: TripForecast, source: StepSource | None) -> Wording:
    """The protection is about to open."""
    name, hold_amps = supply.name, heat.hold_amps
    left = time_left(forecast)
    over = amps - hold_amps
    much = f", {over:.1f} A more than its protection holds," if over > 0.05 else ", close to what its protection holds,"
    message = f"{name} is overloaded: {amps:.1f} A are drawn{much} and it will open {left}" + cause(source)
    where = f"on {source.district}" if source is not None else f"fed by {name}"
    return Wording(
        message=message,
        advice=f"Stop a train or switch something off {where} now; everything on {name} stops otherwise.",
        trip_in_s=forecast.in_s,
        trip_earliest_s=forecast.earliest_s,
        trip_latest_s=forecast.latest_s,
        share=amps / hold_amps,
        limit=f"the {name} protection",
        time_words=left,
    )


def guard(protection: Protection | None) -> str:
    """What becomes of a draw that no forecast says would be switched off."""
    if protection is None or protection.kind == "unknown":
        return "nothing is known that would switch it off"
    if protection.kind == "none":
        return "nothing will switch it off by itself"
    return "its protection may carry that for long, the rest may not"


def over_limit(use: Use, source: StepSource | None, trip_in_s: float | None, unless: str) -> Wording:
    """More is drawn than a rating allows for good.

    Args:
        use: The limit and what flows.
        source: What brought it.
        trip_in_s: When the protection would open; None where it would not.
        unless: What to say where it would not, see :func:`guard`.
    """
    limit, (amps, va) = use.limit, use.left
    left = f"in about {span(trip_in_s)}" if trip_in_s is not None else ""
    what = f"its protection may open {left}" if left else unless
    drawn = f"{use.amps:.1f} A" if limit.amps is not None else f"{use.va:.0f} VA"
    message = f"{limit.place} carries {drawn}, {use.share:.0%} of {limit.words}: {-amps:.1f} A ({-va:.0f} VA) too much; {what}"
    return Wording(
        message=message + cause(source),
        advice=f"Within the next minutes, stop one train or switch something off on {source.district if source else limit.place}.",
        trip_in_s=trip_in_s,
        limit=limit.words,
        share=use.share,
        time_words=left,
    )


def near_limit(use: Use) -> Wording:
    """Close to a rating."""
    limit, (amps, va) = use.limit, use.left
    left = f"{max(0.0, amps):.1f} A ({max(0.0, va):.0f} VA) are left"
    return Wording(
        message=f"{limit.place} is at {use.share:.0%} of {limit.words}: {left}, no further engine fits.",
        advice="Add nothing more there; no hurry.",
        limit=limit.words,
        share=use.share,
    )


def unguarded(supply: str, share: float, source: StepSource | None) -> Wording:
    """Far beyond the rating and nothing to switch it off."""
    return Wording(
        message=f"{supply} has carried {share:.0%} of its rating for a minute and nothing is known that would switch it off"
        + cause(source),
        advice=f"Switch {supply} off now and let it cool before looking for the cause.",
        share=share,
    )


def stalled(district: str, amps: float, most: float, for_s: float) -> Wording:
    """A train cannot turn its wheels, or something was switched on."""
    return Wording(
        message=f"{district} has drawn a steady {amps:.1f} A for {span(for_s)}; its laps drew {most:.1f} A at most: "
        "a train is stalled, or something was switched on.",
        advice=f"Look at {district}. If a train stands with its motor under power, take the power off it now: a stalled motor burns.",
        share=amps / most,
    )


def opened_in_recording(supply: str) -> Wording:
    """The recorded protection opened; this layout has another one."""
    return Wording(
        message=f"In the recording the protection of {supply} opened: everything it feeds is dead.",
        advice="What the protection of this layout would have done stands among the answers.",
    )


def opened(supply: Supply, reset_in_s: float | None, *, after_short: bool) -> Wording:
    """The protection has opened."""
    why = "after a short" if after_short else "after an overload"
    is_fuse = supply.protection is not None and supply.protection.kind == "fuse"
    by_hand = "its fuse has to be replaced by one of the same kind and rating" if is_fuse else "it has to be reset by hand"
    left = "" if reset_in_s is None else f"in about {span(reset_in_s)}"
    back = f"it may come back by itself {left}" if left else by_hand
    return Wording(
        message=f"The protection of {supply.name} has opened {why}: everything it feeds is dead, and {back}.",
        advice=f"Turn the throttles of {supply.name} down and take the cause away before power returns.",
        time_words=left,
    )


def short(district: str, amps: float, volts: float) -> Wording:
    """A hard short."""
    return Wording(
        message=f"Short circuit on {district}: {amps:.0f} A flow and only {volts:.1f} V are left.",
        advice=f"Turn {district} off now, then look for derailed wheels or metal across the rails.",
    )


def cause(source: StepSource | None) -> str:
    """Which step caused it, and what may explain it; ends the sentence before it."""
    if source is None:
        return "."
    if source.crept:
        return f". It crept up over the last minute, most on {source.district}, by {source.amps:.1f} A."
    began = f". It began when {source.district} went up by {source.amps:.1f} A"
    return began + (f", as {' or '.join(source.loads)} would draw." if source.loads else ", which no single known load explains.")


def fits(layout: Layout, district: District, amps_left: float, limit: Limit | None) -> str:
    """What still fits on a district and which limit is reached first."""
    first = f"; {limit.words} is reached first" if limit is not None else ""
    if district.use == "accessories":
        left = f"{amps_left:.1f} A more fit" if amps_left >= th.SMALLEST_AMPS else "nothing more fits"
        return f"{left} on {district.name}{first}"
    engines = sorted(
        {load.running_amps for load in layout.load if load.kind == "locomotive" and load.running_amps > th.SMALLEST_AMPS}
    )
    fitting = [size for size in engines or [th.USUAL_ENGINE_AMPS] if size <= amps_left]
    if not fitting:
        return f"no further engine fits on {district.name}{first}"
    count = int(amps_left // fitting[-1])
    fit = f"one more {fitting[-1]:g} A engine fits" if count == 1 else f"{count} more {fitting[-1]:g} A engines fit"
    return f"{fit} on {district.name}{first}"
