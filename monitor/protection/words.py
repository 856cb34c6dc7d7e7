"""Warnings in words: for a visitor who helps out and has never read a manual. Sentences stand in :mod:`monitor.words.sentences`."""

from dataclasses import dataclass

from monitor.layout import District, Layout, Protection, Supply
from monitor.protection import thresholds as th
from monitor.protection.alarms import Wording
from monitor.protection.heat import HeatTrack
from monitor.protection.step_source import StepSource
from monitor.values import Limit, TripForecast
from monitor.words.figures import amps_va, percent, span
from monitor.words.sentences import say


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


def time_left(forecast: TripForecast) -> str:
    """How long until it opens, with what is not known of it and what would narrow that."""
    latest_s = forecast.latest_s
    is_vague = latest_s is None or latest_s > th.VAGUE_TIMES * forecast.earliest_s + th.VAGUE_S
    return say(
        "left",
        likely=span(forecast.in_s),
        earliest=span(forecast.earliest_s),
        latest=say("left-never") if latest_s is None else say("left-latest", span=span(latest_s)),
        late=say("left-late") if forecast.is_late else "",
        narrow=_narrowing(forecast, is_vague=is_vague),
    )


def _narrowing(forecast: TripForecast, *, is_vague: bool) -> str:
    """What would narrow it."""
    if forecast.has_points:
        return say("left-open") if forecast.latest_s is None else ""
    return say("left-vague") if is_vague else ""


def trip_forecast(supply: Supply, amps: float, heat: HeatTrack, forecast: TripForecast, source: StepSource | None) -> Wording:
    """The protection is about to open."""
    name, left, over = supply.name, time_left(forecast), amps - heat.hold_amps
    much = say("much-over", over=f"{over:.1f}") if over > 0.05 else say("much-close")
    return Wording(
        message=say("rise-opens", where=name, drawn=f"{amps:.1f}", much=much, left=left) + cause(source),
        advice=say("do-opens", where=source.district if source is not None else name, supply=name),
        trip_in_s=forecast.in_s,
        trip_earliest_s=forecast.earliest_s,
        trip_latest_s=forecast.latest_s,
        share=amps / heat.hold_amps,
        limit=say("hold-of", where=name),
        time_words=left,
    )


def guard(protection: Protection | None) -> str:
    """What becomes of a draw that no forecast says would be switched off."""
    if protection is None or protection.kind == "unknown":
        return say("guard-unknown")
    return say("guard-none" if protection.kind == "none" else "guard-slow")


def over_limit(use: Use, source: StepSource | None, forecast: TripForecast | None, unless: str) -> Wording:
    """More is drawn than a rating allows for good.

    Args:
        use: The limit and what flows.
        source: What brought it.
        forecast: When the protection would open; None where it would not.
        unless: What to say where it would not, see :func:`guard`.
    """
    limit, (amps, va) = use.limit, use.left
    left = time_left(forecast) if forecast is not None else ""
    drawn = f"{use.amps:.1f} A" if limit.amps is not None else f"{use.va:.0f} VA"
    what = say("over-will-open", left=left) if left else unless
    return Wording(
        message=say(
            "rise-over",
            where=limit.place,
            drawn=drawn,
            share=percent(use.share),
            limit=limit.words,
            over=amps_va(-amps, -va),
            what=what,
        )
        + cause(source),
        advice=say("do-over", where=source.district if source else limit.place),
        trip_in_s=forecast.in_s if forecast is not None else None,
        limit=limit.words,
        share=use.share,
        time_words=left,
    )


def near_limit(use: Use) -> Wording:
    """Close to a rating."""
    limit, (amps, va) = use.limit, use.left
    left = amps_va(max(0.0, amps), max(0.0, va))
    return Wording(
        message=say("rise-near", where=limit.place, share=percent(use.share), limit=limit.words, left=left),
        advice=say("do-near"),
        limit=limit.words,
        share=use.share,
    )


def unguarded(supply: str, share: float, source: StepSource | None) -> Wording:
    """Far beyond the rating and nothing to switch it off."""
    message = say("rise-unguarded", where=supply, share=percent(share)) + cause(source)
    return Wording(message=message, advice=say("do-unguarded", where=supply), share=share)


def stalled(district: str, amps: float, most: float, for_s: float) -> Wording:
    """A train cannot turn its wheels, or something was switched on."""
    message = say("rise-stalled", where=district, drawn=f"{amps:.1f}", span=span(for_s), most=f"{most:.1f}")
    return Wording(message=message, advice=say("do-stalled", where=district), share=amps / most)


def opened_in_recording(supply: str) -> Wording:
    """The recorded protection opened; this layout has another one."""
    return Wording(message=say("recorded-open", where=supply), advice=say("do-recorded-open"))


def back(protection: Protection | None) -> str:
    """How power comes back behind a protection of which no one can say when it closes."""
    if protection is not None and protection.kind == "fuse":
        return say("back-fuse")
    return say("back-hand" if protection is not None and protection.reset == "manual" else "back-unknown")


def opened(supply: Supply, reset_in_s: float | None, *, after_short: bool) -> Wording:
    """The protection has opened."""
    left = "" if reset_in_s is None else say("left-raised", span=span(reset_in_s))
    why = say("after-short" if after_short else "after-overload")
    is_fuse = supply.protection is not None and supply.protection.kind == "fuse"
    comes_back = say("back-itself", left=left) if left else back(supply.protection)
    return Wording(
        message=say("rise-opened", where=supply.name, why=why, back=comes_back),
        advice=say("do-opened-fuse" if is_fuse else "do-opened", where=supply.name),
        time_words=left,
    )


def short(district: str, amps: float, volts: float) -> Wording:
    """A hard short."""
    message = say("rise-short", where=district, amps=f"{amps:.0f}", volts=f"{volts:.1f}")
    return Wording(message=message, advice=say("do-rise-short", where=district))


def cause(source: StepSource | None) -> str:
    """Which step caused it, and what may explain it; ends the sentence before it."""
    if source is None:
        return "."
    where, amps = source.district, f"{source.amps:.1f}"
    if source.crept:
        return ". " + say("crept", where=where, amps=amps)
    like = say("like-load", loads=" or ".join(source.loads)) if source.loads else say("like-none")
    return ". " + say("began", where=where, amps=amps, what=like)


def fits(layout: Layout, district: District, amps_left: float, limit: Limit | None) -> str:
    """What still fits on a district and which limit is reached first."""
    place = {"where": district.name, "first": say("reached-first", limit=limit.words) if limit is not None else ""}
    if district.use == "accessories":
        return say("fits-amps" if amps_left >= th.SMALLEST_AMPS else "fits-nothing", amps=f"{amps_left:.1f}", **place)
    engines = sorted(
        {load.running_amps for load in layout.load if load.kind == "locomotive" and load.running_amps > th.SMALLEST_AMPS}
    )
    fitting = [size for size in engines or [th.USUAL_ENGINE_AMPS] if size <= amps_left]
    if not fitting:
        return say("fits-no-engine", **place)
    count = int(amps_left // fitting[-1])
    return say("fits-one" if count == 1 else "fits-some", n=count, amps=f"{fitting[-1]:g}", **place)
