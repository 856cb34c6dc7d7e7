"""The figures of a whole session, from what was kept of it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from monitor.layout import Layout, Supply
from monitor.sessions.buckets import BUCKET_S
from monitor.sessions.durable import is_held
from monitor.sessions.folder import LOCK, SessionFolder
from monitor.sessions.notice_rows import read_notices
from monitor.sessions.readings_log import StoredDistrict, load_readings
from monitor.values import Action, Cause, Event, SlowFigure
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

COLUMNS = (
    "volts_rms", "volts_lowest", "amps_rms", "amps_highest", "watts", "volt_amperes", "far_volts_rms", "seconds", "joules", "clipped",
    "clipped_volts",
)  # fmt: skip
LIMIT_SHARES = (0.8, 1.0)
"""Time is counted above these shares of a supply's plate and of an output's own limit."""
STALLS = (Cause.LOST_CONTACT, Cause.SHORT, Cause.PROTECTION_OPEN, Cause.FEED_LOST, Cause.BINDING, Cause.WEAK_JOINT)
SAME_OPENING_S = 1.0
ROWS_A_SECOND = round(1 / BUCKET_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A figure over a session.

    Attributes:
        high: 95 % of the time it was no higher.
        highest: The highest; of volt-amperes the highest one-second mean, of amps the highest one-cycle RMS.
    """

    mean: float
    high: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictReview:
    """One district over a session; None where nothing was measured.

    Attributes:
        measured_s: Seconds for which there are readings.
        volts: RMS volts.
        volts_lowest: Lowest one-cycle RMS volts.
        amps: RMS amps.
        above_s: Seconds above each of :data:`LIMIT_SHARES` of the output's own max_amps; empty where it has none.
        loop_ohms: What the watch found, else the median of volts lost to the far end over amps; None where no channel measures the far end.
        volts_clipped: Whether volts reached the end of the sensor's range, so that they and all that is made of them are lower bounds.
        amps_clipped: The same of amps.
        stalls: How often each cause stopped or hindered a train here.
    """

    name: str
    measured_s: float
    volts: Spread | None
    volts_lowest: float | None
    amps: Spread | None
    volt_amperes: Spread | None
    energy_wh: float | None
    above_s: dict[float, float]
    loop_ohms: float | None
    stalls: dict[Cause, int]
    volts_clipped: bool = False
    amps_clipped: bool = False

    @property
    def power_clipped(self) -> bool:
        """Whether power and energy are lower bounds."""
        return self.volts_clipped or self.amps_clipped


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyReview:
    """One supply over a session: all its districts together.

    Attributes:
        volt_amperes: Sum of the apparent power of its districts.
        share_mean: Of the plate, mean; share_highest likewise.
        share_highest: Of the plate, highest one-second mean.
        above_s: Seconds above each of :data:`LIMIT_SHARES` of the plate.
        source_ohms: What the watch found, else the median of volts lost over amps gained at sudden rises of the load; None where
            there were too few.
        opened_after_s: How long the supply had been above its protection's rating each time that it opened.
        clipped: Whether anything of a district reached the end of its sensor's range, so that power is a lower bound.
    """

    name: str
    volt_amperes: Spread | None
    share_mean: float | None
    share_highest: float | None
    above_s: dict[float, float]
    source_ohms: float | None
    opened_after_s: tuple[float, ...]
    clipped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionReview:
    """A whole session.

    Attributes:
        began_at: Wall clock at second 0 of the stream.
        duration_s: How long it is.
        invented: Nothing of it was measured.
        districts: In file order.
        supplies: In file order.
        events: Everything that was diagnosed.
        warnings: Everything that was warned of.
        losses: What is missing of it, in words.
    """

    name: str
    title: str
    began_at: datetime
    duration_s: float
    invented: bool
    districts: tuple[DistrictReview, ...]
    supplies: tuple[SupplyReview, ...]
    events: tuple[Event, ...]
    warnings: tuple[RaisedWarning, ...]
    marks: tuple[Action, ...]
    losses: tuple[str, ...]

    @property
    def stalls(self) -> int:
        """How often something stopped or hindered a train."""
        return sum(sum(district.stalls.values()) for district in self.districts)

    @property
    def stalls_an_hour(self) -> float | None:
        """The same an hour; None for a session without length."""
        return self.stalls * 3600 / self.duration_s if self.duration_s > 0 else None


def review(
    session: SessionFolder, layout: Layout | None = None, stored: Mapping[str, StoredDistrict] | None = None
) -> SessionReview:
    """The figures of a session.

    Args:
        session: The session.
        layout: Another layout to hold the figures against; its own when None.
        stored: Its readings, with :data:`COLUMNS` at least, where somebody has them at hand.

    Raises:
        SessionError: It cannot be understood.
    """
    manifest, closing = session.manifest(), session.closing()
    layout = layout or session.layout()
    stored = load_readings(session, COLUMNS) if stored is None else stored
    events = tuple(read_notices(session, "events", Event))
    # What the watch itself found rests on every half cycle; sessions from before that was kept have rows of a fifth of a second.
    latest = {(figure.kind, figure.name): figure.value for figure in read_notices(session, "slow_figures", SlowFigure)}
    ends = [float(district.at_s[-1]) + BUCKET_S for district in stored.values() if len(district.at_s)]
    ended_s = closing.ended_s if closing is not None else max(ends, default=manifest.first_s)
    return SessionReview(
        name=session.name,
        title=manifest.title,
        began_at=manifest.began_at,
        duration_s=max(0.0, ended_s - manifest.first_s),
        invented=manifest.invented,
        districts=tuple(
            replace(found, loop_ohms=latest.get(("loop-ohms", found.name), found.loop_ohms))
            for found in (_district(layout, row.name, stored.get(row.name), events) for row in layout.district)
        ),
        supplies=tuple(
            replace(found, source_ohms=latest.get(("source-ohms", found.name), found.source_ohms))
            for found in (_supply(layout, supply, stored, events) for supply in layout.supply)
        ),
        events=events,
        warnings=tuple(read_notices(session, "warnings", RaisedWarning)),
        marks=tuple(action for action in read_notices(session, "actions", Action) if action.kind == "mark"),
        losses=(*closing.losses, *session.missing()) if closing is not None else (_unclosed(session),),
    )


def _unclosed(session: SessionFolder) -> str:
    return "it is still being recorded" if is_held(session.path / LOCK) else "the session was never closed"


def supply_table(layout: Layout, supply: str, stored: Mapping[str, StoredDistrict]) -> tuple[Floats, Floats, Floats]:
    """Times, volt-amperes and amps of all districts of a supply together; a district without a reading counts as nothing."""
    districts = [stored[d.name] for d in layout.districts_of_supply(supply) if d.name in stored]
    if not districts:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    numbers = [np.round(district.at_s / BUCKET_S).astype(np.int64) for district in districts]
    first, last = min(n[0] for n in numbers if len(n)), max(n[-1] for n in numbers if len(n))
    va, amps = np.zeros(last - first + 1), np.zeros(last - first + 1)
    for district, number in zip(districts, numbers, strict=True):
        np.add.at(va, number - first, np.nan_to_num(district.figures["volt_amperes"]))
        np.add.at(amps, number - first, np.nan_to_num(district.figures["amps_rms"]))
    return np.arange(first, last + 1) * BUCKET_S, va, amps


def _district(layout: Layout, name: str, stored: StoredDistrict | None, events: tuple[Event, ...]) -> DistrictReview:
    stalls = Counter(event.cause for event in events if event.district == name and event.cause in STALLS)
    figures = stored.figures if stored is not None else {column: np.zeros(0) for column in COLUMNS}
    district = next(district for district in layout.district if district.name == name)
    output = next((o for o in layout.output if (o.supply, o.name) == (district.supply, district.output)), None)
    limit = output.max_amps if output is not None else None
    seconds, joules = _energies(figures)
    return DistrictReview(
        name=name,
        measured_s=float(seconds.sum()),
        volts=_spread(figures["volts_rms"]),
        volts_lowest=_extreme(figures["volts_lowest"], highest=False),
        amps=_spread(figures["amps_rms"], _extreme(figures["amps_highest"], highest=True)),
        volt_amperes=_spread(figures["volt_amperes"], _highest_second(figures["volt_amperes"])),
        energy_wh=float(np.nansum(joules)) / 3600 if np.isfinite(joules).any() else None,
        above_s={} if limit is None else _above(figures["amps_rms"], limit),
        loop_ohms=_loop_ohms(figures),
        stalls=dict(stalls),
        volts_clipped=bool((figures["clipped_volts"] > 0).any()),
        amps_clipped=bool((figures["clipped"] > 0).any()),
    )


def _energies(figures: Mapping[str, Floats]) -> tuple[Floats, Floats]:
    """Seconds measured and joules of each row; in rows from before these were kept, of as much as a whole row."""
    measured = np.isfinite(figures["volts_rms"]) & np.isfinite(figures["amps_rms"])
    older = measured & (figures["seconds"] == 0)
    return np.where(older, BUCKET_S, figures["seconds"]), np.where(older, figures["watts"] * BUCKET_S, figures["joules"])


def _supply(layout: Layout, supply: Supply, stored: Mapping[str, StoredDistrict], events: tuple[Event, ...]) -> SupplyReview:
    at_s, va, amps = supply_table(layout, supply.name, stored)
    spread = _spread(va, _highest_second(va))
    names = {district.name for district in layout.districts_of_supply(supply.name)}
    opened_s = _openings(e.start_s for e in events if e.cause is Cause.PROTECTION_OPEN and e.district in names)
    rated_amps = supply.protection.rated_amps if supply.protection is not None else None
    return SupplyReview(
        name=supply.name,
        volt_amperes=spread,
        share_mean=None if spread is None else spread.mean / supply.plate_va,
        share_highest=None if spread is None else spread.highest / supply.plate_va,
        above_s=_above(va, supply.plate_va),
        source_ohms=_source_ohms(layout, supply.name, stored),
        opened_after_s=() if rated_amps is None else tuple(_seconds_above(at_s, amps, rated_amps, s) for s in opened_s),
        clipped=any(
            (stored[name].figures[mark] > 0).any() for name in names & set(stored) for mark in ("clipped", "clipped_volts")
        ),
    )


def _openings(starts_s: Iterable[float]) -> list[float]:
    """When a protection opened: every district of its supply tells of the same opening."""
    found: list[float] = []
    for start_s in sorted(starts_s):
        if not found or start_s - found[-1] > SAME_OPENING_S:
            found.append(start_s)
    return found


def _spread(values: Floats, highest: float | None = None) -> Spread | None:
    good = values[np.isfinite(values)]
    if not len(good):
        return None
    top = float(good.max()) if highest is None else highest
    return Spread(mean=float(good.mean()), high=float(np.percentile(good, 95)), highest=top)


def _extreme(values: Floats, *, highest: bool) -> float | None:
    good = values[np.isfinite(values)]
    return None if not len(good) else float(good.max() if highest else good.min())


def _highest_second(values: Floats) -> float | None:
    """Highest mean over one second."""
    good = np.nan_to_num(values)
    if not len(good):
        return None
    width = min(ROWS_A_SECOND, len(good))
    sums = np.cumsum(np.concatenate([[0.0], good]))
    return float((sums[width:] - sums[:-width]).max() / width)


def _above(values: Floats, limit: float) -> dict[float, float]:
    return {share: float((np.nan_to_num(values) > share * limit).sum()) * BUCKET_S for share in LIMIT_SHARES}


def _loop_ohms(figures: Mapping[str, Floats]) -> float | None:
    """Volts lost on the way to the far end over the amps that flow (Ohm), where enough flow to tell."""
    volts, far, amps = figures["volts_rms"], figures["far_volts_rms"], figures["amps_rms"]
    known = np.isfinite(far) & (amps > 0.5)
    return float(np.median((volts - far)[known] / amps[known])) if known.sum() >= ROWS_A_SECOND else None


def _source_ohms(layout: Layout, supply: str, stored: Mapping[str, StoredDistrict]) -> float | None:
    """Volts lost over amps gained from one row to the next, where amps rise by an ampere while the output stays on."""
    found = []
    for district in layout.districts_of_supply(supply):
        if district.name in stored:
            figures = stored[district.name].figures
            lost, gained = -np.diff(figures["volts_rms"]), np.diff(figures["amps_rms"])
            known = (gained > 1.0) & (lost > 0) & (figures["volts_rms"][1:] > 0.5 * figures["volts_rms"][:-1])
            found.append(lost[known] / gained[known])
    ohms = np.concatenate(found) if found else np.zeros(0)
    return float(np.median(ohms)) if len(ohms) >= 3 else None


def _seconds_above(at_s: Floats, amps: Floats, rated_amps: float, opened_s: float) -> float:
    """How long the amps had been above the rating when the protection opened; a row below in between counts as none."""
    last = int(np.searchsorted(at_s, opened_s))
    below = np.flatnonzero(amps[:last] <= rated_amps)
    below = below[below < last - ROWS_A_SECOND] if len(below) and below[-1] >= last - ROWS_A_SECOND else below
    since_s = float(at_s[below[-1]]) + BUCKET_S if len(below) else float(at_s[0]) if len(at_s) else opened_s
    return max(0.0, opened_s - since_s)
