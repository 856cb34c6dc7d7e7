"""Changes of a layout that is there: every change read back by ``parse_layout``; what did not change stays, comments too."""

import msgspec
import pytest

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.setup.change_flow import ChangeSetup, boards_of
from monitor.setup.draft import FoundBoard, SetupDraft
from tests.layout.fernhollow import FERNHOLLOW
from tests.wire.bytestreams import identity

BEFORE = parse_layout(FERNHOLLOW)
TEXT = FERNHOLLOW + "\n# a remark of mine\n"
HEARD = FoundBoard(
    name="own name", port=BEFORE.board[0].port, baud=500_000, identity=identity(channels=12, number=BEFORE.board[0].number)
)


def changed(**answers):
    draft = SetupDraft(answers={key.replace("_", "."): said for key, said in answers.items()}, boards=boards_of(BEFORE, [HEARD]))
    setup = ChangeSetup(draft, BEFORE)
    assert setup.walk.finished, [each for each in setup.walk.asked if each.is_open]
    text = setup.text(TEXT)
    assert "# a remark of mine" in text
    return parse_layout(text)


def test_a_new_engine():
    after = changed(
        change="engine",
        load_name="Shunter",
        load_district="Outer main",
        load_kind="locomotive",
        load_running="900 mA",
        load_starting="",
    )
    assert (after.load[-1].name, after.load[-1].running_amps, after.load[-1].starting_amps) == ("Shunter", 0.9, None)
    assert msgspec.structs.replace(after, load=after.load[:-1]) == BEFORE


def test_another_fuse_takes_the_curve_of_the_one_before_with_it():
    assert BEFORE.supply[0].protection.points
    after = changed(change="protection", fuse_supply="North bench", fuse_kind="fuse", fuse_amps="6.3")
    assert (after.supply[0].protection.kind, after.supply[0].protection.rated_amps) == ("fuse", 6.3)
    assert (after.supply[0].protection.points, after.supply[0].protection.reset) == ((), None)
    # A breaker without its amps limits nothing that could be judged.
    assert (
        changed(change="protection", fuse_supply="North bench", fuse_kind="thermal", fuse_amps="").supply[0].protection.kind
        == "unknown"
    )


def test_a_moved_wire():
    name = BEFORE.district[0].name
    after = changed(change="wire", wire_district=name, wire_output="South bench / B", wire_pair="pair 6 of bench-1")
    assert (after.district[0].output_name, after.district[0].volts_channel, after.district[0].amps_channel) == (
        "South bench/B",
        10,
        11,
    )
    taken = {"change": "wire", "wire.district": name, "wire.output": "North bench / A", "wire.pair": "pair 2 of bench-1"}
    with pytest.raises(LayoutError, match="is already used"):
        ChangeSetup(SetupDraft(answers=taken, boards=boards_of(BEFORE, [HEARD])), BEFORE).text(TEXT)


def test_boards_go_by_the_layouts_names_and_zero_waits_until_one_is_heard():
    assert [board.name for board in boards_of(BEFORE, [HEARD, msgspec.structs.replace(HEARD, port="elsewhere")])] == ["bench-1"]
    setup = ChangeSetup(SetupDraft(answers={"change": "calibration", "calibrate": "yes"}), BEFORE)
    assert "nothing has come from a board of this layout yet" in setup.walk.asked[-1].complaint
