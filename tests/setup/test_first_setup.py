"""The questions that make a layout: what was typed against the layout file's own checked reading of what comes out.

The plate, outputs and channels below are typed by hand here; ``parse_layout`` is the oracle for the text, the layout contract for its keys.
"""

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import LayoutError
from monitor.layout import parse_layout
from monitor.layout.check import check_isolation
from monitor.setup.draft import FoundBoard, SetupDraft, keep_draft, load_draft
from monitor.setup.first_setup import FirstSetup
from monitor.setup.questions import figure_of
from monitor.setup.terminal import TerminalInterview
from tests.layout.fernhollow import FERNHOLLOW
from tests.wire.bytestreams import identity

TODAY = dt.date(2026, 11, 30)
BOARD = FoundBoard(name="bench-1", port="/dev/ttyUSB0", baud=500_000, identity=identity(channels=8, name="bench-1"))


def made(answers, boards=(BOARD,), kept=None):
    """The layout that the answers make at a terminal, and what was said."""
    waiting, said = iter(answers), []

    def ask(question):
        said.append(question)
        try:
            return next(waiting)
        except StopIteration:
            raise EOFError from None

    keep = (lambda _draft: None) if kept is None else kept.append
    draft = TerminalInterview(ask, said.append, keep).run(SetupDraft().with_boards(boards), lambda each: FirstSetup(each).walk)
    assert next(waiting, None) is None
    text = FirstSetup(draft).text(TODAY)
    return parse_layout(text), text, said


NORTH = ["North bench", "ac", "180 VA", "18V", "", "110-120 V", "60", "thermal", "10 A", "2", "A", "y", "B", "n", "yes"]
SOUTH = ["South bench", "ac", "75", "16", "", "", "", "unknown", "1", "A", "yes", ""]
FERNHOLLOW_ANSWERS = [
    "Fernhollow show layout", "120 V", "60Hz", *NORTH, *SOUTH,
    "Outer main", "1", "track", "Inner main", "North bench / B", "track", "Quarry branch", "3", "track", "-", "yes",
]  # fmt: skip


def test_answers_become_the_layout():
    layout, text, _ = made(FERNHOLLOW_ANSWERS)
    assert (layout.title, layout.mains.volts, layout.mains.hertz) == ("Fernhollow show layout", 120, 60)
    assert [(s.name, s.rated_va, s.max_volts) for s in layout.supply] == [("North bench", 180, 18), ("South bench", 75, 16)]
    assert (layout.supply[0].input_volts, layout.supply[0].input_hertz) == ((110, 120), (60,))
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
    assert layout.board[0].isolated_inputs
    check_isolation(layout)


def test_two_supplies_on_one_board_are_refused_unless_its_inputs_are_isolated():
    check_isolation(parse_layout(FERNHOLLOW))
    with pytest.raises(LayoutError, match=r"North bench and South bench.*board and a USB isolator of its own"):
        check_isolation(parse_layout(FERNHOLLOW.replace("isolated_inputs = true\n", "")))
    # "no" asks for that pair's output again; the other pairs keep what was answered.
    layout, _, said = made([*FERNHOLLOW_ANSWERS[:-1], "no", "South bench / A", "2"])
    assert [d.output_name for d in layout.district] == ["North bench/A", "North bench/B", "North bench/B"]
    assert not layout.board[0].isolated_inputs
    assert "  Answer one of: North bench / A, North bench / B." in said


def test_return_alone_takes_what_is_proposed_except_for_mains_and_plate():
    layout, _, _ = made(["", "230", "", "", "", "60 W", "12", *[""] * 8, *[""] * 12])
    assert [district.name for district in layout.district] == ["District 1", "District 2", "District 3", "District 4"]
    assert (layout.mains.hertz, layout.supply[0].rated_watts, layout.supply[0].rated_va) == (50, 60, None)


def test_without_a_board_there_is_a_place_for_one():
    plate = ["S", "dc", "60", "12", "", "", "", "none", "1", "A", "y", "n"]
    layout, text, _ = made(["x", "230", "50", *plate, "1", "Loop", "", "track"], boards=())
    assert layout.board[0].port is None
    assert "# port = " in text
    assert [district.name for district in layout.district] == ["Loop"]


@pytest.mark.parametrize(
    ("place", "typed", "words"),
    [
        ("120 V", "twelve", "no figure"),
        ("120 V", "1200", "not from 90 to 260 V"),
        ("120 V", "120 A", "A is another unit: this asks for V"),
        ("ac", "both", "Answer one of: ac, dc"),
        ("180 VA", "", "needed"),
        ("180 VA", "1,800", "can be read in two ways"),
        ("2", "2.5", "whole number"),
        ("B", "A", '"A" is used already'),
        ("Inner main", "Outer main", '"Outer main" is used already'),
        ("Inner main", "x" * 81, "too long"),
    ],
)
def test_slips_are_asked_again_with_the_reason(place, typed, words):
    at = FERNHOLLOW_ANSWERS.index(place)
    layout, _, said = made([*FERNHOLLOW_ANSWERS[:at], typed, *FERNHOLLOW_ANSWERS[at:]])
    assert layout == made(FERNHOLLOW_ANSWERS)[0]
    assert any(words in line for line in said if line.startswith("  "))


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("230V", "V", 230),
        ("14,2 volts", "V", 14.2),
        ("250 mA", "A", 0.25),
        (".5", "A", 0.5),
        ("180VA", "VA or W", 180),
        ("4.", "", 4),
    ],
)
def test_figures_are_taken_as_people_write_them(typed, unit, value):
    assert figure_of(typed, unit, (0, 1000)) == pytest.approx(value)


def test_back_goes_to_any_question_before_and_loses_nothing():
    at = FERNHOLLOW_ANSWERS.index("South bench")
    # Back over four answers to the throttle of output B, which is answered otherwise; Return keeps the rest.
    forth = ["back", "<", "back", "yes", "", ""]
    layout, _, _ = made([*FERNHOLLOW_ANSWERS[: at + 1], *forth, *FERNHOLLOW_ANSWERS[at + 1 :]])
    assert [output.control for output in layout.output] == ["variable", "variable", "variable"]
    assert layout.supply[1].name == "South bench"


def test_every_answer_is_kept_as_it_is_typed_and_gone_on_with(tmp_path):
    kept = []
    with pytest.raises(EOFError):
        made(FERNHOLLOW_ANSWERS[:10], kept=kept)
    keep_draft(tmp_path / "layout.toml", kept[-1])
    draft = load_draft(tmp_path / "layout.toml")
    assert draft == kept[-1]
    rest = iter(FERNHOLLOW_ANSWERS[10:])
    done = TerminalInterview(lambda _: next(rest), lambda _: None, kept.append).run(draft, lambda each: FirstSetup(each).walk)
    assert parse_layout(FirstSetup(done).text(TODAY)) == made(FERNHOLLOW_ANSWERS)[0]
    (tmp_path / "layout.toml.draft").write_text("{")
    assert load_draft(tmp_path / "layout.toml") == SetupDraft()


def test_boards_without_a_name_or_of_one_name_get_their_own_and_keep_it_when_they_move():
    def board(port, name):
        return FoundBoard(name=name, port=port, baud=115_200, identity=identity(channels=2, name=name))

    draft = SetupDraft().with_boards([board("a", "bench-1"), board("b", ""), board("c", "bench-1")])
    assert [each.name for each in draft.boards] == ["bench-1", "bench-2", "bench-3"]
    moved = draft.with_boards([board("d", "bench-1"), board("c", "bench-1"), board("b", "")])
    assert [(each.name, each.port) for each in moved.boards] == [("bench-1", "d"), ("bench-2", "b"), ("bench-3", "c")]


@given(st.text(min_size=1, max_size=80).map(str.strip).filter(lambda name: name and name != "-" and name.isprintable()))
@settings(max_examples=60, deadline=None)
def test_any_name_survives(name):
    if name in ("Outer main", "Inner main") or name.lower() in ("back", "<"):
        return
    answers = [*FERNHOLLOW_ANSWERS]
    answers[answers.index("Quarry branch")] = name
    assert made(answers)[0].district[2].name == name
