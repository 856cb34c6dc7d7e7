"""The values that walk through the house: frozen, slotted, keyword-only, moved as blocks of arrays."""

from monitor.values.actions import Action, ActionKind
from monitor.values.aggregates import AggregateBlock, WaveformKind
from monitor.values.boards import BoardSeen, Channel, Health, Identity, ResetCause
from monitor.values.chunks import Chunk, JoinedChunk
from monitor.values.disturbances import Disturbance, DisturbanceKind
from monitor.values.events import Cause, Event, Pattern, Phasing
from monitor.values.findings import Finding, FindingKind
from monitor.values.line_readings import LineReadings, joined_lines
from monitor.values.loads import Foreseen, Headroom, Limit, PlaceLoad, RecordedOverload, SupplyLoad, TripForecast
from monitor.values.ports import PortState, PortStatus
from monitor.values.readings import ReadingBlock, joined_readings
from monitor.values.samples import SampleBlock
from monitor.values.slow import SlowFigure
from monitor.values.snapshots import Snapshot, SnapshotChannel
from monitor.values.steps import Step
from monitor.values.warnings import Priority, Scope, Warning  # noqa: A004 - the trade's own word for it

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
