"""The latest figures of one station: a row of each district and supply, and two minutes behind them."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from monitor.bus.payloads import DISTRICTS_LIMIT, GRID_S, SUPPLIES_LIMIT, Readings

RECENT_ROWS = 240


@dataclass(slots=True, kw_only=True)
class HallDistrictFigures:
    """The latest row of one district.

    Attributes:
        end_unix_s: Its end, by the station's clock.
        volts: RMS volts; None where unknown, like all below.
        amps: RMS amps.
        amps_highest: Highest one-cycle amps.
        watts: Real power.
        doubtful: Its sensor is known to lie.
        recent: (end, volts, amps) of the last rows.
    """

    end_unix_s: float = 0.0
    volts: float | None = None
    amps: float | None = None
    amps_highest: float | None = None
    watts: float | None = None
    doubtful: bool = False
    recent: deque[tuple[float, float | None, float | None]] = field(default_factory=lambda: deque(maxlen=RECENT_ROWS))


@dataclass(frozen=True, slots=True, kw_only=True)
class HallSupplyFigures:
    """The latest row of one supply.

    Attributes:
        end_unix_s: Its end, by the station's clock.
        va: Volt-amperes.
        share: Share of the limit that binds.
    """

    end_unix_s: float
    va: float | None
    share: float | None


class HallFigures:
    """Takes readings of the current boot; rows that are older than what is known are passed over.

    Attributes:
        districts: By name.
        supplies: By name.
        newest_unix_s: End of the newest row by the station's clock; None where none came.
    """

    def __init__(self) -> None:
        self.districts: dict[str, HallDistrictFigures] = {}
        self.supplies: dict[str, HallSupplyFigures] = {}
        self.newest_unix_s: float | None = None

    def take(self, body: Readings) -> None:
        """Take all rows of a message."""
        ends = [body.began_unix_s + (body.first + k + 1) * GRID_S for k in range(body.rows)]
        self.newest_unix_s = max(ends[-1], self.newest_unix_s or 0.0)
        doubtful = set(body.doubtful)
        columns = zip(body.districts, body.volts, body.amps, body.amps_highest, body.watts, strict=True)
        for name, volts, amps, highest, watts in columns:
            known = self.districts.get(name)
            if known is None:
                if len(self.districts) >= DISTRICTS_LIMIT:
                    continue
                known = self.districts[name] = HallDistrictFigures()
            known.recent.extend(_newer(known.end_unix_s, zip(ends, volts, amps, strict=True)))
            if ends[-1] > known.end_unix_s:
                known.end_unix_s, known.doubtful = ends[-1], name in doubtful
                known.volts, known.amps, known.amps_highest, known.watts = volts[-1], amps[-1], highest[-1], watts[-1]
        for name, va, share in zip(body.supplies, body.va, body.share, strict=True):
            before = self.supplies.get(name)
            if (before is None and len(self.supplies) < SUPPLIES_LIMIT) or (before is not None and ends[-1] > before.end_unix_s):
                self.supplies[name] = HallSupplyFigures(end_unix_s=ends[-1], va=va[-1], share=share[-1])


def _newer(
    than_unix_s: float, rows: Iterator[tuple[float, float | None, float | None]]
) -> Iterator[tuple[float, float | None, float | None]]:
    return (row for row in rows if row[0] > than_unix_s)
