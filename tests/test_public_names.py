"""The names other programs and other rooms may build on. Who changes one changes it here, knowingly."""

import ast

import pytest

from tests.test_style import ROOT

PUBLIC = {
    "diagnosis": "Diagnosis",
    "layout": (
        "Board ChannelCalibration Condition District Feeder Layout LineMapping LineOutput Load Mains Output Protection Supply "
        "load_layout parse_layout"
    ),
    "link": "BoardClock HostClock PortFound SerialSource find_ports",
    "metering": "BoardHealth BoardMeter LineRows Metered ReadingSpans Trouble",
    "protection": "Asked Judge",
    "rehearsal": "KINDS Capture RehearsalBoard Scene capture demo_layout_text fernhollow_show random_scene write_capture",
    "runtime": "Pipeline Summary SummaryBuilder",
    "sessions": "Closing Manifest Playback Played SessionFolder find_sessions",
    "standing": "DistrictNow Headline LayoutStanding Level StandingWarning State aged assess headline",
    "values": (
        "Action ActionKind AggregateBlock BoardSeen Cause Channel Chunk Disturbance DisturbanceKind Event Finding FindingKind "
        "Foreseen Headroom Health Identity JoinedChunk Limit LineReadings Pattern Phasing PlaceLoad PortState PortStatus "
        "Priority ReadingBlock RecordedOverload ResetCause SampleBlock Scope SlowFigure Snapshot SnapshotChannel Step "
        "SupplyLoad TripForecast Warning WaveformKind joined_lines joined_readings"
    ),
    "wire": "Fault FaultKind Item LineDecoder PackedDecoder SampleRun WireDecoder",
}  # fmt: skip


@pytest.mark.parametrize("room", PUBLIC)
def test_public_names_are_pinned(room):
    tree = ast.parse((ROOT / "monitor" / room / "__init__.py").read_text(encoding="utf-8"))
    offered = [ast.literal_eval(node.value) for node in tree.body if isinstance(node, ast.Assign)]
    assert offered == [PUBLIC[room].split()]


def test_every_room_with_public_names_is_in_the_table():
    rooms = {
        path.parent.name for path in (ROOT / "monitor").glob("*/__init__.py") if "__all__" in path.read_text(encoding="utf-8")
    }
    assert rooms == set(PUBLIC)
