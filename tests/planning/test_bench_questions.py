import datetime as dt

from monitor.cli.main import main
from monitor.layout import parse_layout
from monitor.planning.bench_check import check_all
from monitor.planning.bench_questions import inspection_sheet
from monitor.planning.plan_load import parse_plan
from tests.layout.fernhollow import FERNHOLLOW

TESTED = FERNHOLLOW.replace(
    'plug = "sound"\n',
    """plug = "sound"
serial = "N-7"
checked_on = "2026-11-01"

[[supply.condition.record]]
what = "insulation-test"
on = "2026-06-01"
by = "Ada"
megohms = 20
test_volts = 500

""".replace("\n[[", "\nstrain_relief = true\n[["),
).replace("\nstrain_relief = true\n\n[[supply]]", "\n\n[[supply]]")


def test_the_sheet_has_every_supply_with_checks_tests_who_when_and_next():
    layout = parse_layout(TESTED)
    plan = parse_plan('[[set_aside]]\nsupply = "South bench"\nreason = "one evening"\nby = "Bo"\non = "2026-11-29"\n', layout)
    today = dt.date(2026, 11, 30)
    sheet = inspection_sheet(layout, plan, check_all(layout, plan, today=today), today=today)
    for words in (
        "North bench   serial or mark: N-7",
        "110-120 V, 60 Hz; 180 VA (output), up to 18 V AC; protection: thermal 10 A",
        "Verdict: Fit to use",
        "Checked on 2026-11-01",
        "[   sound] How is the cord?",
        "2026-06-01 insulation test by Ada, 20 megohms, 500 V DC",
        "Next test due: 2027-06-01",
        "Bo answers for it",
        "[    open] Is it closed",
        "Next test due: none recorded",
        "Inspected by ____",
        "no approval",
    ):
        assert words in sheet


def test_the_command_prints_it(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW)
    assert main(["bench", str(path), "--sheet"]) == 0
    assert capsys.readouterr().out.startswith("Inspection sheet: Fernhollow show layout")
