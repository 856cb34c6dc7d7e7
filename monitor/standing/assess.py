"""From figures, warnings, events and loads to the one standing of each district and supply."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.layout import District, Layout, Supply
from monitor.protection import thresholds as limits
from monitor.protection.limits import feeder_limit, most_amps, output_limit
from monitor.protection.words import back, guard
from monitor.standing import thresholds as th
from monitor.standing.notices import flood, latched, notices, urgency
from monitor.standing.seen import DistrictNow, Seen
from monitor.standing.states import (
    Countdown,
    DistrictStanding,
    Late,
    LayoutStanding,
    Level,
    NoPower,
    Notice,
    State,
    SupplyStanding,
)
from monitor.standing.words import DRAW_RULES, has_power, room
from monitor.values import Cause, Event, Headroom, PortState, PortStatus, SupplyLoad

LATE_OF_PORT: dict[PortState, Late] = {
    "opening": "link",
    "lost": "link",
    "silent": "board",
    "not-understood": "not-understood",
    "wrong-baud": "not-understood",
    "stranger": "not-understood",
}
CALM = {(State.RUNNING, Level.WELL), (State.RESTING, Level.REST)}
POWER_CAUSES = (Cause.SHORT, Cause.PROTECTION_OPEN, Cause.FEED_LOST)
"""Causes that figures refute: where power is there, they do not go on."""


@dataclass(frozen=True, slots=True)
class _Ground:
    """What the standings of one supply and its districts rest on."""

    supply: Supply
    seen: Seen
    load: SupplyLoad | None
    notices: tuple[Notice, ...]

    @property
    def fresh(self) -> SupplyLoad | None:
        """What was judged, where that is not old."""
        return self.load if self.load is not None and self.seen.now_s - self.load.at_s <= th.FRESH_S else None

    def about(self, kind: str, where: str) -> tuple[Notice, ...]:
        """Notices of one place."""
        return tuple(notice for notice in self.notices if (notice.kind, notice.where) == (kind, where))


def assess(layout: Layout, seen: Seen) -> LayoutStanding:
    """How everything stands.

    Args:
        layout: The layout.
        seen: What was measured and judged, districts in the order of the layout.
    """
    told = notices(layout, seen)
    loads = {load.name: load for load in seen.loads}
    districts: dict[str, DistrictStanding] = {}
    supplies = []
    for supply in layout.supply:
        ground = _Ground(supply, seen, loads.get(supply.name), tuple(n for n in told if n.supply == supply.name))
        own = [
            _district(layout, row, now, ground)
            for row, now in zip(layout.district, seen.districts, strict=True)
            if row.supply == supply.name
        ]
        standing = _supply(ground, own)
        supplies.append(standing)
        districts.update((each.name, _with_room(each, standing, ground.fresh)) for each in own)
    return LayoutStanding(
        at_s=seen.now_s,
        supplies=tuple(supplies),
        districts=tuple(districts[row.name] for row in layout.district),
        notices=told,
        latched=latched(layout, seen),
        flood=flood(seen),
        port=next((port.sentence for port in seen.ports if not port.is_well), ""),
    )


def _district(layout: Layout, row: District, now: DistrictNow, ground: _Ground) -> DistrictStanding:
    seen = ground.seen
    base = DistrictStanding(
        name=row.name,
        supply=row.supply,
        state=State.STALE,
        level=Level.STALE,
        use=row.use,
        figures_at_s=None if now.age_s is None else seen.now_s - now.age_s,
    )
    if now.is_stale:
        return replace(base, late=_late(layout, row.board, now.age_s, seen))
    own = (*ground.about("district", row.name), *ground.about("output", row.output_name))
    going_on = [event for event in seen.events if event.district == row.name and event.end_s is None and event.cause.is_fault]
    found = _power(base, now, ground, [n for n in own if n.rule == "short"], going_on)
    if found is None:
        found = _draw(layout, row, now, ground, own, base)
        fault = next((event for event in going_on if event.cause not in POWER_CAUSES), None)
        if fault is not None:
            found = replace(found, cause=fault.cause.value, since_s=fault.start_s, level=urgency(found.level, Level.LOW))
    if now.is_good or found.level is Level.HIGH:
        return found
    return replace(found, level=Level.DOUBT, doubt=now.findings[0].kind.value if now.findings else "unknown")


def _power(
    base: DistrictStanding, now: DistrictNow, ground: _Ground, shorts: Sequence[Notice], going_on: Sequence[Event]
) -> DistrictStanding | None:
    """A short or no power, as far as figures bear that out; None where there is power."""
    volts, amps = now.volts_rms, now.amps_rms
    if volts is None:
        return None
    causes = {event.cause: event.start_s for event in going_on}
    draws = amps is not None and amps >= max(th.NO_AMPS, limits.DEAD * most_amps(ground.supply))
    load = ground.fresh
    opened = load is not None and load.is_open and not draws  # no short flows through an open protection
    if (shorts or Cause.SHORT in causes) and not opened and _looks_short(volts, amps, ground.supply):
        began_s = min([notice.start_s for notice in shorts] or [causes.get(Cause.SHORT, base.figures_at_s or 0.0)])
        is_heard = not shorts or any(notice.shelved_until_s is None for notice in shorts)
        return replace(base, state=State.SHORT, level=Level.HIGH if is_heard else Level.LOW, since_s=began_s)
    if volts >= max(th.NO_VOLTS, limits.DEAD * ground.supply.max_volts) or draws:
        return None
    why: NoPower
    since_s: float | None
    if load is not None and load.is_open:
        why, since_s = "protection", load.open_since_s
    elif Cause.PROTECTION_OPEN in causes:
        why, since_s = "protection", causes[Cause.PROTECTION_OPEN]
    elif Cause.FEED_LOST in causes:
        why, since_s = "feed", causes[Cause.FEED_LOST]
    else:
        why, since_s = _throttled(ground.seen.events, base.name)
    level = Level.REST if why in ("", "throttle") else Level.MEDIUM
    return replace(base, state=State.NO_POWER, no_power=why, level=level, since_s=since_s)


def _throttled(events: Sequence[Event], district: str) -> tuple[NoPower, float | None]:
    """Whether the last that happened there was a hand on the throttle."""
    last = max((event for event in events if event.district == district), key=lambda event: event.start_s, default=None)
    return ("throttle", last.start_s) if last is not None and last.cause is Cause.THROTTLE else ("", None)


def _looks_short(volts: float, amps: float | None, supply: Supply) -> bool:
    """A warning may outlast its short; figures of a healthy draw go before it."""
    return volts < th.SHORT_VOLTS * supply.max_volts or (amps is not None and amps > most_amps(supply))


def _draw(
    layout: Layout, row: District, now: DistrictNow, ground: _Ground, own: Sequence[Notice], base: DistrictStanding
) -> DistrictStanding:
    """How much of its own limits a district with power draws."""
    limit, share = _own_share(layout, row, ground.fresh)
    heard = [notice for notice in own if notice.shelved_until_s is None]
    if share is not None and share >= 1:
        state = State.OVERLOADED
    elif _is_near(share) or any(notice.rule in DRAW_RULES for notice in heard):
        state = State.NEAR
    else:
        state = State.RESTING if now.amps_rms is not None and now.amps_rms < th.NO_AMPS else State.RUNNING
    level = {State.RESTING: Level.REST, State.RUNNING: Level.WELL}.get(state, Level.LOW)
    return replace(base, state=state, level=urgency(level, *(n.level for n in heard)), limit=limit, share=share)


def _is_near(share: float | None) -> bool:
    """From the share on that is shown as that of NEAR: what rounds to it reads as it."""
    return share is not None and round(share, 2) >= limits.NEAR


def _own_share(layout: Layout, row: District, load: SupplyLoad | None) -> tuple[str, float | None]:
    """The tighter of a district's own limits, its output's and its feeder's, and what of it is used."""
    if load is None:
        return "", None
    amps = {place.name: place.amps for place in load.districts if place.amps is not None}
    beside = [d.name for d in layout.districts_of_supply(row.supply) if d.output == row.output]
    output = next((o for o in layout.output if (o.supply, o.name) == (row.supply, row.output)), None)
    found = [
        (limit.words, sum(amps.get(name, 0.0) for name in names) / limit.amps)
        for limit, names in ((output_limit(output) if output else None, beside), (feeder_limit(row), [row.name]))
        if limit is not None and limit.amps is not None and row.name in amps
    ]
    return max(found, key=lambda pair: pair[1], default=("", None))


def _with_room(district: DistrictStanding, supply: SupplyStanding, load: SupplyLoad | None) -> DistrictStanding:
    """What still fits there, said only where nothing at all speaks against adding it."""
    place = next((place for place in load.districts if place.name == district.name), None) if load is not None else None
    calm = {(district.state, district.level), (supply.state, supply.level)} <= CALM and supply.share is not None
    return (
        replace(district, room=room(place)) if calm and place is not None and not (district.doubt or supply.unknown) else district
    )


def _supply(ground: _Ground, own: Sequence[DistrictStanding]) -> SupplyStanding:
    seen, load, fresh = ground.seen, ground.load, ground.fresh
    live = [district for district in own if district.state is not State.STALE]
    told = [n for n in ground.notices if n.kind != "district" and n.shelved_until_s is None]
    known = [district.figures_at_s for district in own]
    base = SupplyStanding(
        name=ground.supply.name,
        state=State.STALE,
        level=Level.STALE,
        figures_at_s=None if None in known or not known else min(at_s for at_s in known if at_s is not None),
        late=next((district.late for district in own if district.late), ""),
        unknown=len(own) - len(live),
        countdown=_countdown(load, ground.notices),
        guard=guard(ground.supply.protection),
        back=back(ground.supply.protection),
        closes_at_s=None if load is None or load.reset_in_s is None else load.at_s + load.reset_in_s,
    )
    powered = any(has_power(district) for district in live)
    if powered:
        told = [notice for notice in told if notice.rule != "protection-open"]
    is_dead = bool(live) and all(district.state is State.NO_POWER for district in live)
    if not live or (fresh is None and not is_dead):
        return _late_supply(base, told, seen.now_s)
    if fresh is None:
        return _dead_supply(base, told, live, is_open=False)
    base = replace(
        base,
        heat=fresh.heat,
        heat_lowest=fresh.heat_lowest,
        heat_highest=fresh.heat_highest,
        since_s=fresh.open_since_s if fresh.is_open else None,
    )
    if is_dead:
        return _dead_supply(base, told, live, is_open=fresh.is_open)
    shorted = next((district for district in live if district.state is State.SHORT), None)
    if shorted is not None:
        return replace(base, state=State.SHORT, level=shorted.level, since_s=shorted.since_s)
    return _loaded_supply(base, fresh, told, live)


def _late_supply(base: SupplyStanding, told: Sequence[Notice], now_s: float) -> SupplyStanding:
    """Late figures hide no warning, for a while."""
    recent = base.figures_at_s is not None and now_s - base.figures_at_s <= th.SILENCE_S
    worst = urgency(Level.STALE, *(notice.level for notice in told))
    if not recent or worst not in (Level.MEDIUM, Level.HIGH):
        return replace(base, countdown=None)
    is_open = any(notice.rule == "protection-open" for notice in told)
    if is_open:
        return replace(base, state=State.NO_POWER, no_power="protection", level=worst, countdown=None)
    return replace(base, state=State.OVERLOADED, level=worst)


def _dead_supply(
    base: SupplyStanding, told: Sequence[Notice], live: Sequence[DistrictStanding], *, is_open: bool
) -> SupplyStanding:
    whys = {district.no_power for district in live}
    is_open |= any(notice.rule == "protection-open" for notice in told)
    why: NoPower = "protection" if is_open else whys.pop() if len(whys) == 1 else ""
    level = Level.REST if why in ("", "throttle") else Level.MEDIUM
    return replace(base, state=State.NO_POWER, no_power=why, level=level, countdown=None)


def _loaded_supply(
    base: SupplyStanding, load: SupplyLoad, told: Sequence[Notice], live: Sequence[DistrictStanding]
) -> SupplyStanding:
    # Where power is back before the judge knows, what it says of the draw is that of an open protection.
    left = Headroom() if load.is_open else load.headroom
    share = left.share
    if base.countdown is not None or (share is not None and share >= 1):
        state = State.OVERLOADED
    elif _is_near(share) or told:
        state = State.NEAR
    else:
        rests = all(district.state in (State.RESTING, State.NO_POWER) for district in live)
        state = State.RESTING if rests else State.RUNNING
    level = {State.RESTING: Level.REST, State.RUNNING: Level.WELL}.get(state, Level.LOW)
    # What is left under a rating invites no one while an opening is expected.
    tells_left = left.amps_left is not None and (base.countdown is None or left.amps_left < 0)
    return replace(
        base,
        state=state,
        level=urgency(level, *(notice.level for notice in told)),
        since_s=None,
        limit=left.binding.words if left.binding is not None else "",
        share=share,
        amps_left=left.amps_left if tells_left else None,
        va_left=left.va_left if tells_left else None,
    )


def _countdown(load: SupplyLoad | None, told: Sequence[Notice]) -> Countdown | None:
    """From the latest forecast; from the warning as it rose where no load was ever judged."""
    if load is not None:
        ahead = load.forecast
        return None if ahead is None else Countdown(
            opens_at_s=load.at_s + ahead.in_s,
            earliest_at_s=load.at_s + ahead.earliest_s,
            latest_at_s=None if ahead.latest_s is None else load.at_s + ahead.latest_s,
            is_late=ahead.is_late,
        )  # fmt: skip
    told_s = next((n.opens_as_raised_s for n in told if n.opens_as_raised_s is not None), None)
    if told_s is None:
        return None
    return Countdown(opens_at_s=told_s, earliest_at_s=told_s, latest_at_s=told_s, is_bounded=False)


def _late(layout: Layout, board: str, age_s: float | None, seen: Seen) -> Late:
    """Why figures of a board are old; nothing where that cannot be told."""
    device = next((each.port for each in layout.board if each.name == board), None)
    port = next((each for each in seen.ports if board == each.board or (device is not None and device == each.port)), None)
    if port is not None and port.state in LATE_OF_PORT and (age_s is not None or port.state != "silent"):
        return LATE_OF_PORT[port.state]
    if age_s is None:
        return "none-yet"
    return "computer" if port is not None and _is_behind(port, age_s, seen.now_s) else ""


def _is_behind(port: PortStatus, age_s: float, now_s: float) -> bool:
    """Bytes came, and their figures are not there: this computer does not keep up."""
    return port.last_data_s is not None and age_s - (now_s - port.last_data_s) > th.LATE_S
