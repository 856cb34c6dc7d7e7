import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.layout.check import check_isolation
from monitor.layout.wizard import PluggedBoard, Wizard
from tests.layout.fernhollow import FERNHOLLOW
from tests.wire.bytestreams import identity

BOARD = PluggedBoard(port="/dev/ttyUSB0", baud=500_000, identity=identity(channels=8, name="bench-1"))


def made(answers, plugged=(BOARD,)):
    """The layout that the answers make, and what was said."""
    waiting, said = iter(answers), []

    def ask(question):
        said.append(question)
        try:
            return next(waiting)
        except StopIteration:
            raise EOFError from None

    text = Wizard(ask, said.append).run(plugged).text()
    assert next(waiting, None) is None
    return parse_layout(text), text, said


FERNHOLLOW_ANSWERS = [
    "Fernhollow show layout", "120", "60",
    "North bench", "ac", "180", "18", "thermal", "10", "2", "A", "y", "B", "n", "yes",
    "South bench", "ac", "75", "16", "unknown", "1", "A", "yes", "",
    "Outer main", "1", "track", "Inner main", "2", "track", "Quarry branch", "3", "no", "3", "yes", "track", "-",
]  # fmt: skip


def test_answers_become_the_layout():
    layout, text, _ = made(FERNHOLLOW_ANSWERS)
    assert layout.title == "Fernhollow show layout"
    assert [(s.name, s.rated_va, s.max_volts) for s in layout.supply] == [("North bench", 180, 18), ("South bench", 75, 16)]
    assert layout.supply[0].protection.rated_amps == 10
    assert [(o.supply, o.name, o.control) for o in layout.output] == [
        ("North bench", "A", "variable"),
        ("North bench", "B", "constant"),
        ("South bench", "A", "variable"),
    ]
    assert [(d.name, d.output_name, d.volts_channel, d.amps_channel) for d in layout.district] == [
        ("Outer main", "North bench/A", 0, 1),
        ("Inner main", "North bench/B", 2, 3),
        ("Quarry branch", "South bench/A", 4, 5),
    ]
    assert [(b.name, b.port, b.baud) for b in layout.board] == [("bench-1", "/dev/ttyUSB0", 500_000)]
    assert text.count("#") > 15
    # Refused at first, and taken once the inputs were said to be isolated.
    assert layout.board[0].isolated_inputs
    check_isolation(layout)


def test_two_supplies_on_one_board_are_refused_unless_its_inputs_are_isolated():
    layout = parse_layout(FERNHOLLOW)
    check_isolation(layout)
    with pytest.raises(LayoutError, match=r"North bench and South bench.*board and a USB isolator of its own"):
        check_isolation(parse_layout(FERNHOLLOW.replace("isolated_inputs = true\n", "")))


def test_return_alone_takes_what_is_proposed_except_for_the_nameplate():
    answers = ["", "", "", "", "", "90", *[""] * 30]
    waiting = iter(answers)
    layout = parse_layout(Wizard(lambda _question: next(waiting), lambda _words: None).run([BOARD]).text())
    assert [district.name for district in layout.district] == ["District 1", "District 2", "District 3", "District 4"]
    assert layout.supply[0].rated_va == 90


def test_without_a_board_there_is_a_place_for_one():
    layout, text, _ = made(
        ["x", "230", "50", "S", "dc", "60", "12", "none", "1", "A", "y", "n", "1", "Loop", "track"], plugged=()
    )
    assert layout.board[0].port is None
    assert "# port = " in text
    assert [district.name for district in layout.district] == ["Loop"]


def test_wrong_answers_are_asked_again():
    answers = [*FERNHOLLOW_ANSWERS]
    answers[1:2] = ["twelve", "1200", "120"]
    answers[3 + answers[3:].index("ac") : 3 + answers[3:].index("ac")] = ["both"]
    layout, _, said = made(answers)
    assert layout.mains.volts == 120
    assert said.count("  That is not a number from 90 to 260.") == 2
    assert "  Answer one of: ac, dc." in said


def test_a_name_used_twice_is_asked_again():
    answers = [*FERNHOLLOW_ANSWERS]
    answers[answers.index("Inner main")] = "Outer main"
    answers.insert(answers.index("Quarry branch") - 2, "Inner main")
    _, _, said = made(answers)
    assert '  "Outer main" is used already: give each its own name.' in said


def test_answers_that_end_early_write_nothing():
    with pytest.raises(EOFError):
        made(FERNHOLLOW_ANSWERS[:10])


def test_boards_without_a_name_or_of_one_name_get_their_own():
    nameless = PluggedBoard(port="/dev/ttyUSB1", baud=115_200, identity=identity(channels=2, name=""))
    twin = PluggedBoard(port="/dev/ttyUSB2", baud=500_000, identity=identity(channels=2, name="bench-1"))
    answers = iter(["", "", "", "", "", "90", *[""] * 40])
    draft = Wizard(lambda _question: next(answers), lambda _words: None).run([BOARD, nameless, twin])
    assert [board.name for board in draft.boards] == ["bench-1", "bench-2", "bench-3"]
    assert len(parse_layout(draft.text()).board) == 3


@given(st.text(min_size=1, max_size=80).map(str.strip).filter(lambda name: name and name != "-" and name.isprintable()))
@settings(max_examples=60, deadline=None)
def test_any_name_survives(name):
    answers = [*FERNHOLLOW_ANSWERS]
    answers[answers.index("Quarry branch")] = name
    if name in ("Outer main", "Inner main"):
        return
    layout, _, _ = made(answers)
    assert layout.district[2].name == name
