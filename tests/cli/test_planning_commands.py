"""The planning commands as a person uses them."""

import io

import pytest

from monitor.cli.main import main
from monitor.layout import load_layout
from tests.layout.fernhollow import FERNHOLLOW


@pytest.fixture
def show(tmp_path):
    path = tmp_path / "show.toml"
    path.write_text("# ours\n" + FERNHOLLOW)
    return path


def answers(monkeypatch, lines):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))


def test_bench_prints_a_card_with_the_caution(show, capsys):
    assert main(["bench", str(show)]) == 0
    out = capsys.readouterr().out
    assert "North bench: FIT TO USE" in out
    assert "South bench: NOT YET JUDGED" in out
    assert "licensed practitioner" in out


def test_bench_asks_writes_and_judges(show, capsys, monkeypatch):
    answers(monkeypatch, ["yes", "cloth", "sound", "maybe", "no", "yes", "yes", "", "", "1950"])
    assert main(["bench", str(show), "--supply", "South bench", "--ask"]) == 0
    captured = capsys.readouterr()
    assert "answer yes or no" in captured.err
    assert "South bench: DO NOT ENERGISE" in captured.out
    condition = load_layout(show).supply[1].condition
    assert condition is not None
    assert (condition.cord, condition.strain_relief, condition.earthed, condition.made_year) == ("cloth", False, None, 1950)
    assert condition.checked_on is not None
    assert show.read_text().startswith("# ours")
    assert (show.parent / "show.toml.before").read_text() == "# ours\n" + FERNHOLLOW


def test_bench_names_the_supplies_there_are(show, capsys):
    assert main(["bench", str(show), "--supply", "West"]) == 2
    assert "use one of: North bench, South bench" in capsys.readouterr().err


def test_budget_and_its_table_of_typical_draws(show, capsys):
    assert main(["budget", str(show)]) == 0
    assert "nameplate total" in capsys.readouterr().out
    assert main(["budget", "--typical"]) == 0
    assert "common practice, no published source" in capsys.readouterr().out


def test_an_unfit_supply_is_shared_only_with_a_visible_override(show, capsys):
    show.write_text(FERNHOLLOW.replace('cord = "sound"', 'cord = "cloth"').replace("running_amps = 2.4", "running_amps = 6.0"))
    assert main(["share", str(show)]) == 0
    out = capsys.readouterr().out
    assert "North bench gets no load" in out
    assert "Outer main finds no place" in out
    assert main(["share", str(show), "--use-anyway", "North bench"]) == 0
    out = capsys.readouterr().out
    assert "! North bench is used against the bench check's verdict" in out
    assert "finds no place" not in out


def test_share_refuses_prices_it_cannot_read(show, capsys):
    assert main(["share", str(show), "--buy", "North bench=lots"]) == 2
    assert "SUPPLY=PRICE" in capsys.readouterr().err


def test_phase_and_terminals(show, capsys, monkeypatch):
    assert main(["phase", str(show)]) == 0
    assert "NEM 609" in capsys.readouterr().out
    assert main(["phase", str(show), "--reading", "5.4", "4.8", "10.1"]) == 0
    assert "In anti-phase" in capsys.readouterr().out
    answers(monkeypatch, ["6", "14 V", "8", "18", "14", "4"])
    assert main(["terminals", "U", "A", "C"]) == 0
    assert "U: common" in capsys.readouterr().out
    answers(monkeypatch, ["six"])
    assert main(["terminals", "U", "A"]) == 2
    assert "is not a figure" in capsys.readouterr().err


def test_morning(show, capsys):
    assert main(["morning", str(show), "--trouble", "Inner main stalls at the bridge."]) == 0
    assert "[ ] From last time: Inner main stalls at the bridge." in capsys.readouterr().out
