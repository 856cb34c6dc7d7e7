"""A step: everything that one chunk brought about, or chunks that were taken together."""

from dataclasses import dataclass

from monitor.values.boards import BoardSeen, Finding, Health
from monitor.values.events import Disturbance, Event, Pattern, Phasing, SlowFigure
from monitor.values.loads import Foreseen, RecordedOverload, SupplyLoad
from monitor.values.readings import AggregateBlock, ReadingBlock
from monitor.values.samples import Chunk, SampleBlock, Snapshot
from monitor.values.warnings import (
    Action,
    Warning,  # noqa: A004 - the trade's own word for it
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What one chunk of one port brought about; recorder, live store and bus all take this.

    Chunks of a recorded session may be taken together: then it is what all of them brought about.

    Attributes:
        port: Which port the chunk (of several the last) came from: its device or URL, or the name of the capture.
        now_s: The stream's time after this step: never falls.
        boards: Boards that said who they are (also again and again).
        healths: Health packets that came.
        samples: Sample blocks, in order.
        readings: Reading blocks, in order.
        aggregates: Aggregate blocks (about 200 ms a row), in order.
        disturbances: Dips, swells and interruptions that began, changed or ended.
        warnings: Warnings that rose, changed or cleared.
        loads: Every supply as it stands, where it moved on since the step before; empty otherwise.
        foreseen: Forecasts every two seconds, where they were asked for.
        overloads: What another layout's protections would have done, where that was asked for.
        events: Events that began, changed or ended.
        snapshots: Samples around events, once for each: when they are all there, some tenths of a second after its end.
        patterns: Patterns as they now stand; replaces what was said before for the same districts.
        slow_figures: What changes over an evening: each replaces what was said before of its kind and name.
        phasings: Phasings as they now stand.
        findings: Findings that began, changed or ended.
        actions: What operators did since the step before.
        unexplained_bytes: Bytes of this port so far in which neither wire form could be recognised.
    """

    port: str
    chunk: Chunk
    now_s: float
    boards: tuple[BoardSeen, ...] = ()
    healths: tuple[Health, ...] = ()
    samples: tuple[SampleBlock, ...] = ()
    readings: tuple[ReadingBlock, ...] = ()
    aggregates: tuple[AggregateBlock, ...] = ()
    disturbances: tuple[Disturbance, ...] = ()
    warnings: tuple[Warning, ...] = ()
    loads: tuple[SupplyLoad, ...] = ()
    foreseen: tuple[Foreseen, ...] = ()
    overloads: tuple[RecordedOverload, ...] = ()
    events: tuple[Event, ...] = ()
    snapshots: tuple[Snapshot, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    slow_figures: tuple[SlowFigure, ...] = ()
    phasings: tuple[Phasing, ...] = ()
    findings: tuple[Finding, ...] = ()
    actions: tuple[Action, ...] = ()
    unexplained_bytes: int = 0
