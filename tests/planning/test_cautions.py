"""What a show needs to be warned of, by topic; the list of topics is the check's own (NEM 609:2010 and its checklist; common practice)."""

import json
from pathlib import Path

import pytest

from dashboard.views.before_page import before_page
from monitor.cli.main import COMMANDS, main
from monitor.layout import parse_layout
from monitor.planning.cautions import CAUTIONS, OF_COMMAND, cautions_at
from tests.dashboard.plans import plans_for
from tests.layout.fernhollow import FERNHOLLOW

TOPICS = (
    "Mains can kill", "residual-current", "turns the whole bench off", "Never pull one plug alone", "Hot posts of separate transformers",
    "never plugged into strips",
    "first powered alone", "unattended", "After two resets", "barriers", "Smoke units", "Batteries", "extinguisher",
)  # fmt: skip
LEADS_TO_A_WIRE = ("bench", "terminals", "wiring", "phase", "share", "budget", "calibrate", "learn", "layout", "morning", "watch")


def in_one_line(text):
    return " ".join(text.split())


def test_every_topic_is_there_worst_danger_first():
    places = [[k for k, caution in enumerate(CAUTIONS) if topic in caution.text] for topic in TOPICS]
    assert places == [[k] for k in range(len(TOPICS))]
    assert all(caution.source for caution in CAUTIONS)


def test_the_readme_says_them_all():
    said = in_one_line((Path(__file__).parents[2] / "README.md").read_text())
    assert all(caution.text in said for caution in CAUTIONS)


@pytest.mark.parametrize("command", LEADS_TO_A_WIRE)
def test_the_help_of_commands_that_lead_to_a_wire_says_what_matters(command, capsys):
    with pytest.raises(SystemExit):
        main([command, "--help"])
    said = in_one_line(capsys.readouterr().out.replace("-\n", "-"))
    for topic in ("Mains can kill", "residual-current", "turns the whole bench off"):
        assert topic in said
    assert "local codes" in said


def test_commands_with_cautions_exist_and_others_have_none(capsys):
    assert set(OF_COMMAND) <= set(COMMANDS)
    with pytest.raises(SystemExit):
        main(["ports", "--help"])
    assert "Mains can kill" not in capsys.readouterr().out


def test_page_and_morning_list_say_those_of_a_show(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    assert main(["morning", str(path), "--recordings", str(tmp_path)]) == 0
    listed = capsys.readouterr().out
    layout = parse_layout(FERNHOLLOW)
    page = before_page(layout, plans_for(layout, may_keep=True))
    shown = json.dumps(page.to_plotly_json(), default=lambda part: part.to_plotly_json(), ensure_ascii=False)
    for caution in cautions_at("show"):
        assert f"[ ] {caution}" in listed
        assert caution in shown
    assert "Power down" in shown or "power down" in shown
    assert "Inspected by" in shown


def test_share_and_budget_say_them_with_their_advice(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    for command in ("share", "budget", "bench"):
        assert main([command, str(path)]) == 0
        assert "Mains can kill" in capsys.readouterr().out


def test_the_power_down_list_ends_with_the_strip_out_of_the_wall(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    assert main(["morning", str(path), "--evening"]) == 0
    said = capsys.readouterr().out
    order = [
        said.index(words)
        for words in ("Trains stopped", "North bench: switched off", "strip switched off", "out of the wall", "A last look")
    ]
    assert order == sorted(order)
