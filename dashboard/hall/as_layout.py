"""A station's outline and view as a layout and a picture, so that the live page's own views show it."""

import math
from dataclasses import dataclass

import numpy as np

from monitor.bus.hall_values import STALE_AFTER_S, DistrictView, StationView
from monitor.bus.payloads import GRID_S, EventNote, WarningNote
from monitor.layout import Layout
from monitor.layout.schema import Board, District, Mains, Output, Supply
from monitor.runtime.picture import Picture
from monitor.runtime.trend import BUCKET_S, TrendWindow
from monitor.standing import DistrictNow, StandingWarning
from monitor.values import Cause, Event, Priority, Scope
from monitor.values import Warning as RaisedWarning
from monitor.values.arrays import Floats

_BOARD = "station"
_UNKNOWN_SUPPLY = "supply not known"
_CAUSES = {cause.value: cause for cause in Cause}
PRIORITIES = {"low": Priority.LOW, "medium": Priority.MEDIUM, "high": Priority.HIGH}


def layout_of(station: StationView) -> Layout:
    """The layout as far as the station gave it; districts in the order of their names, since the view's own order changes."""
    districts = sorted(station.districts, key=lambda row: row.name)
    supplies = {row.supply or _UNKNOWN_SUPPLY: 0.0 for row in districts} | {s.name: s.plate_va or 0.0 for s in station.supplies}
    volts = {s.name: s.max_volts for s in station.supplies}
    limits = {(row.supply or _UNKNOWN_SUPPLY, row.output or "?"): row.limit_amps for row in districts}
    return Layout(
        title=station.title,
        mains=Mains(volts=120.0, hertz=60),
        board=(Board(name=_BOARD),),
        supply=tuple(
            Supply(name=name, current="ac", rated_va=plate_va or None, max_volts=volts.get(name) or 1.0)
            for name, plate_va in sorted(supplies.items())
        ),
        output=tuple(Output(supply=s, name=o, control="variable", max_amps=amps) for (s, o), amps in sorted(limits.items())),
        district=tuple(
            District(
                name=row.name,
                supply=row.supply or _UNKNOWN_SUPPLY,
                output=row.output or "?",
                board=_BOARD,
                volts_channel=0,
                amps_channel=1,
                use="accessories" if row.use == "accessories" else "track",
            )
            for row in districts
        ),
    )


def picture_of(station: StationView, layout: Layout, at: "Moment") -> Picture:
    """How the station stands.

    Args:
        station: As the bus tells it.
        layout: Its layout by :func:`layout_of`.
        at: Now.
    """
    views = {row.name: row for row in station.districts}
    ahead_s = station.clock_ahead_s or 0.0
    return Picture(
        now_s=at.page_s,
        districts=tuple(_district(views[row.name]) for row in layout.district),
        warnings=tuple(
            StandingWarning(warning=_warning(note, at.of(note, ahead_s)), acknowledged=note.acknowledged)
            for note in station.warnings
        ),
        past_warnings=tuple(_warning(note, at.of(note, ahead_s)) for note in station.past_warnings),
        events=tuple(_event(view.note, at.page_s - view.age_s) for view in station.events if view.note.cause in _CAUSES),
        boards={},
        healths={},
    )


def trend_of(station: StationView, layout: Layout, now_s: float, buckets: int) -> TrendWindow:
    """The last buckets up to now; each takes the row of half a second that it lies in."""
    last = math.floor(now_s / BUCKET_S)
    ago_s: Floats = now_s - (np.arange(last - buckets + 1, last + 1, dtype=np.float64) + 0.5) * BUCKET_S
    views = {row.name: row for row in station.districts}
    tables = np.full((2, buckets, len(layout.district)), np.nan)
    for column, row in enumerate(layout.district):
        recent = views[row.name].recent
        if recent:
            tables[:, :, column] = _spread(recent, ago_s)
    volts, amps = tables
    return TrendWindow(
        first=last - buckets + 1,
        volts_rms=volts,
        volts_lowest=volts,
        amps_rms=amps,
        amps_highest=amps,
        watts=np.full_like(volts, np.nan),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Now.

    Attributes:
        unix_s: By this machine's clock.
        page_s: By the page's, which starts with the program: small figures, as the live page has them.
    """

    unix_s: float
    page_s: float

    def of(self, note: WarningNote, ahead_s: float) -> float:
        """What to add to a note's own times to have the page's, where its station's clock is so far ahead."""
        return self.page_s - self.unix_s + note.began_unix_s - ahead_s


def _spread(recent: tuple[tuple[float, float | None, float | None], ...], ago_s: Floats) -> Floats:
    """Volts and amps of the row that covers each moment, shape (2, n); NaN where none does."""
    ends_ago_s = np.array([row[0] for row in recent])
    values = np.array([[math.nan if value is None else value for value in row[1:]] for row in recent])
    # Rows come oldest first: the one that covers a moment is the first whose end is not longer ago than the moment.
    place = np.minimum(np.searchsorted(-ends_ago_s, -ago_s), len(recent) - 1)
    covered = (ends_ago_s[place] <= ago_s + 1e-9) & (ago_s - ends_ago_s[place] <= GRID_S + 1e-9)
    return np.where(covered[:, None], values[place], np.nan).T


def _district(row: DistrictView) -> DistrictNow:
    return DistrictNow(
        name=row.name,
        age_s=row.age_s,
        volts_rms=row.volts,
        amps_rms=row.amps,
        watts=row.watts,
        stale_after_s=STALE_AFTER_S,
        is_doubtful=row.doubtful,
        volts_clipped=row.clipped,
        amps_clipped=row.clipped,
    )


def _warning(note: WarningNote, shift_s: float) -> RaisedWarning:
    return RaisedWarning(
        id=note.id,
        rule=note.rule,
        priority=PRIORITIES[note.priority],
        scope=Scope(kind=note.scope, name=note.name),
        start_s=note.start_s + shift_s,
        end_s=None if note.end_s is None else note.end_s + shift_s,
        trip_in_s=note.trip_in_s,
        message=note.message,
        advice=note.advice,
        share=note.share,
    )


def _event(note: EventNote, start_s: float) -> Event:
    return Event(
        id=note.id,
        district=note.district,
        cause=_CAUSES[note.cause],
        start_s=start_s,
        end_s=None if note.end_s is None else start_s + note.end_s - note.start_s,
        confidence=note.confidence,
    )
