"""The layout file: what is on the bench, as one checked value."""

from monitor.layout.line_mapping import LineMapping, LineOutput
from monitor.layout.load import load_layout, parse_layout
from monitor.layout.schema import (
    Board,
    ChannelCalibration,
    Condition,
    District,
    Feeder,
    Layout,
    Load,
    Mains,
    Output,
    Protection,
    Supply,
)

__all__ = [
    "Board",
    "ChannelCalibration",
    "Condition",
    "District",
    "Feeder",
    "Layout",
    "LineMapping",
    "LineOutput",
    "Load",
    "Mains",
    "Output",
    "Protection",
    "Supply",
    "load_layout",
    "parse_layout",
]
