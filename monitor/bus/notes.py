"""What a watch concluded, put into the bus's messages."""

import math
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.bus.grid import Row
from monitor.bus.payloads import EventNote, Outline, OutlineDistrict, OutlineSupply, Presence, Readings, WarningNote
from monitor.layout import Layout
from monitor.values import Event, SupplyLoad
from monitor.values import Warning as RaisedWarning

STANDING_SHOWN = 20
_ORDER = {"high": 0, "medium": 1, "low": 2}


@dataclass(slots=True, kw_only=True)
class Writer:
    """Writes messages, numbering them.

    Attributes:
        began_unix_s: Second 0 of the stream on the wall clock.
        boot: This start's own mark.
        seq: The number given last.
    """

    began_unix_s: float
    boot: str = field(default_factory=lambda: secrets.token_hex(8))
    seq: int = 0

    def readings(self, row: Row, loads: Sequence[SupplyLoad], now_s: float) -> Readings:
        """One row of the grid, with the supplies as they stand."""
        return Readings(
            **self.head(now_s),
            began_unix_s=self.began_unix_s,
            first=row.number,
            rows=1,
            districts=row.districts,
            volts=_column(row.volts, 2),
            amps=_column(row.amps, 3),
            amps_highest=_column(row.amps_highest, 3),
            watts=_column(row.watts, 1),
            doubtful=tuple(name for name, bad in zip(row.districts, row.doubtful, strict=True) if bad),
            clipped=tuple(name for name, cut in zip(row.districts, row.clipped, strict=True) if cut),
            supplies=tuple(load.name for load in loads),
            va=tuple((_figure(load.va, 1),) for load in loads),
            share=tuple((_figure(load.headroom.share, 4),) for load in loads),
        )

    def warning(self, warning: RaisedWarning, now_s: float) -> WarningNote:
        """One state of a warning."""
        return WarningNote(
            **self.head(now_s),
            began_unix_s=self.began_unix_s,
            id=warning.id,
            rule=warning.rule,
            priority=warning.priority.word,  # type: ignore[arg-type]  # the words are those of the values
            scope=warning.scope.kind,
            name=warning.scope.name,
            start_s=warning.start_s,
            end_s=warning.end_s,
            trip_in_s=_figure(warning.trip_in_s, 1),
            message=warning.message[:1000],
            advice=warning.advice[:1000],
            acknowledged=warning.state == "acknowledged",
            share=_figure(warning.share, 3),
            time_words=warning.time_words,
        )

    def event(self, event: Event, now_s: float) -> EventNote:
        """One state of an event."""
        return EventNote(
            **self.head(now_s),
            began_unix_s=self.began_unix_s,
            id=event.id,
            district=event.district,
            cause=event.cause.value,
            fault=event.cause.is_fault,
            start_s=event.start_s,
            end_s=event.end_s,
            confidence=event.confidence,
        )

    def outline(self, layout: Layout, now_s: float) -> Outline:
        """The layout in outline."""
        limits = {(output.supply, output.name): output.max_amps for output in layout.output}
        return Outline(
            **self.head(now_s),
            title=layout.title,
            supplies=tuple(
                OutlineSupply(name=supply.name, plate_va=supply.plate_va, max_volts=supply.max_volts) for supply in layout.supply
            ),
            districts=tuple(
                OutlineDistrict(
                    name=row.name,
                    supply=row.supply,
                    output=row.output,
                    use=row.use,
                    limit_amps=limits.get((row.supply, row.output)),
                )
                for row in layout.district
            ),
        )

    def last_will(self) -> Presence:
        """What the broker says should we vanish; made now, read then."""
        return Presence(**self.head(0.0), state="lost")

    def head(self, now_s: float) -> dict[str, Any]:
        """What every message begins with: boot, seq and made_unix_s."""
        self.seq += 1
        return {"boot": self.boot, "seq": self.seq, "made_unix_s": round(self.began_unix_s + now_s, 3)}


def worst_first(warnings: Iterable[WarningNote], most: int = STANDING_SHOWN) -> tuple[WarningNote, ...]:
    """The first of the warnings, by priority, then by age; as many as presence carries, or as many as are asked for."""
    return tuple(sorted(warnings, key=lambda note: (_ORDER[note.priority], note.start_s))[:most])


def _column(values: NDArray[np.float64], decimals: int) -> tuple[tuple[float | None], ...]:
    return tuple((_figure(value, decimals),) for value in values.tolist())


def _figure(value: float | None, decimals: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, decimals)
