"""The values that walk through the house: frozen, slotted, keyword-only, moved as blocks of arrays."""

from monitor.values.boards import BoardSeen, Channel, Finding, FindingKind, Health, Identity, PortState, PortStatus, ResetCause
from monitor.values.events import Cause, Disturbance, DisturbanceKind, Event, Pattern, Phasing, SlowFigure
from monitor.values.loads import Foreseen, Headroom, Limit, PlaceLoad, RecordedOverload, SupplyLoad, TripForecast
from monitor.values.readings import AggregateBlock, LineReadings, ReadingBlock, WaveformKind, joined_lines, joined_readings
from monitor.values.samples import Chunk, JoinedChunk, SampleBlock, Snapshot, SnapshotChannel
from monitor.values.steps import Step
from monitor.values.warnings import Action, ActionKind, Priority, Scope, Warning  # noqa: A004 - the trade's own word for it

__all__ = [
    "Action",
    "ActionKind",
    "AggregateBlock",
    "BoardSeen",
    "Cause",
    "Channel",
    "Chunk",
    "Disturbance",
    "DisturbanceKind",
    "Event",
    "Finding",
    "FindingKind",
    "Foreseen",
    "Headroom",
    "Health",
    "Identity",
    "JoinedChunk",
    "Limit",
    "LineReadings",
    "Pattern",
    "Phasing",
    "PlaceLoad",
    "PortState",
    "PortStatus",
    "Priority",
    "ReadingBlock",
    "RecordedOverload",
    "ResetCause",
    "SampleBlock",
    "Scope",
    "SlowFigure",
    "Snapshot",
    "SnapshotChannel",
    "Step",
    "SupplyLoad",
    "TripForecast",
    "Warning",
    "WaveformKind",
    "joined_lines",
    "joined_readings",
]
