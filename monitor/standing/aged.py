"""A standing that came from elsewhere, as it reads where its figures are older: in a hall, behind a network."""

from collections.abc import Mapping
from dataclasses import replace

from monitor.standing import thresholds as th
from monitor.standing.states import DistrictStanding, LayoutStanding, Level, State, SupplyStanding


def aged(
    standing: LayoutStanding, now_s: float, figures_at_s: Mapping[str, float | None], stale_after_s: float
) -> LayoutStanding:
    """The same at a later moment, with nothing shown as live that is not.

    Args:
        standing: As it was sent.
        now_s: The moment, seconds of its own stream.
        figures_at_s: When the latest figures of each district that came here end; None where none came.
        stale_after_s: From which age on figures are too old to be shown as live.
    """
    districts = tuple(_district(row, now_s, figures_at_s.get(row.name), stale_after_s) for row in standing.districts)
    supplies = tuple(_supply(row, now_s, [d for d in districts if d.supply == row.name]) for row in standing.supplies)
    return replace(standing, at_s=now_s, districts=districts, supplies=supplies)


def _district(row: DistrictStanding, now_s: float, at_s: float | None, stale_after_s: float) -> DistrictStanding:
    if at_s is not None and now_s - at_s <= stale_after_s and row.state is not State.STALE:
        return replace(row, figures_at_s=at_s)
    at_s, late = (row.figures_at_s, row.late) if row.state is State.STALE else (at_s, "")
    return DistrictStanding(
        name=row.name, supply=row.supply, use=row.use, state=State.STALE, level=Level.STALE, figures_at_s=at_s, late=late
    )


def _supply(row: SupplyStanding, now_s: float, own: list[DistrictStanding]) -> SupplyStanding:
    """Where none of its figures is live, only an act-now or act-soon of late stays."""
    stale = [district for district in own if district.state is State.STALE]
    known = [district.figures_at_s for district in own if district.figures_at_s is not None]
    figures_at_s = min(known) if len(known) == len(own) and known else None
    row = replace(row, unknown=len(stale), figures_at_s=figures_at_s)
    is_late = own and len(stale) == len(own)
    keeps = row.level in (Level.MEDIUM, Level.HIGH) and figures_at_s is not None and now_s - figures_at_s <= th.SILENCE_S
    if not is_late or keeps:
        return row
    return SupplyStanding(
        name=row.name, state=State.STALE, level=Level.STALE, figures_at_s=figures_at_s, late=row.late, unknown=row.unknown
    )
