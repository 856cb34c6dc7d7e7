"""The page before the show: what it says, and that answers are kept with the layout by those who may act only."""

import json

import numpy as np
import pytest

from dashboard.pages.before import as_it_stands, encoded_plans
from dashboard.views.before_page import SupplyVerdict, before_page
from dashboard.views.live_page import live_page
from dashboard.worker_pool import BusyError, WorkerPool
from monitor.cli.main import main
from monitor.layout import load_layout, parse_layout
from monitor.planning.bench_check import Fitness
from monitor.planning.plan_file import Plan
from monitor.planning.plan_load import plan_path
from monitor.values import Phasing, ReadingBlock
from tests.browser.hall import Hall
from tests.dashboard.acting import acting_app
from tests.dashboard.plans import plans_for
from tests.layout.fernhollow import FERNHOLLOW

ACT = {"X-Pilotlamp": "1"}


@pytest.fixture
def watched(tmp_path):
    hall = Hall(4)
    hall.layout_path = tmp_path / "show.toml"
    hall.layout_path.write_text("# ours\n" + FERNHOLLOW)
    return hall, acting_app(hall).server.test_client()


def text_of(layout, plan=None, standing=None):
    page = before_page(layout, plans_for(layout, plan, may_keep=True), standing)
    return json.dumps(page.to_plotly_json(), default=lambda part: part.to_plotly_json(), ensure_ascii=False)


def test_verdicts_budget_sharing_phasing_and_list_are_on_it():
    text = text_of(parse_layout(FERNHOLLOW))
    for words in ("Fit to use", "Not judged yet", "nameplate total", "Sharing the load", "NEM 609", "Show morning"):
        assert words in text


def test_an_unfit_supply_is_said_to_get_no_load():
    layout = parse_layout(FERNHOLLOW.replace('cord = "sound"', 'cord = "cloth"'))
    assert "North bench gets no load" in text_of(layout)
    assert plans_for(layout, may_keep=False).verdicts[0].fitness is Fitness.DO_NOT_ENERGISE


def test_answers_are_kept_and_comments_stay(watched):
    hall, client = watched
    sent = {"supply": "South bench", "answers": {"cord": "stiff", "enclosed": "yes", "made_year": "", "breaker_present": "no"}}
    answer = client.post("/bench", json=sent, headers=ACT)
    assert (answer.status_code, answer.json["sentence"]) == (200, "Kept with the layout.")
    condition = load_layout(hall.layout_path).supply[1].condition
    assert condition is not None
    assert (condition.cord, condition.enclosed, condition.made_year, condition.breaker_present) == ("stiff", True, None, False)
    assert hall.layout_path.read_text().startswith("# ours")


@pytest.mark.parametrize(
    "sent",
    [
        {"supply": "West bench", "answers": {}},
        {"supply": "South bench", "answers": {"cord": "purple"}},
        {"supply": "South bench", "answers": {"../../etc/passwd": "yes"}},
        {"supply": "South bench"},
        {"supply": "South bench", "answers": {"made_year": "99999"}},
    ],
)
def test_answers_that_make_no_sense_change_nothing(watched, sent):
    hall, client = watched
    before = hall.layout_path.read_text()
    answer = client.post("/bench", json=sent, headers=ACT)
    assert answer.status_code == 400
    assert answer.json["sentence"].startswith("Not kept")
    assert hall.layout_path.read_text() == before


def test_only_the_page_itself_may_keep(watched):
    hall, client = watched
    before = hall.layout_path.read_text()
    assert client.post("/bench", json={"supply": "South bench", "answers": {"cord": "sound"}}).status_code == 403
    assert hall.layout_path.read_text() == before


def test_open_troubles_and_measured_phasing_are_on_it():
    phasing = Phasing(
        supplies=("North bench", "South bench"),
        verdict="anti-phase",
        difference_volts=31.2,
        degrees=179.0,
        start_s=1.0,
        advice="Turn it.",
    )
    standing = SupplyVerdict(troubles=("Outer main: lost contact 3 times.",), day="Saturday 21 November", phasings=(phasing,))
    text = text_of(parse_layout(FERNHOLLOW), standing=standing)
    for words in (
        "Still open from Saturday 21 November",
        "lost contact 3 times",
        "anti phase",
        "31.2 V between the hot posts",
        "Turn it.",
    ):
        assert words in text
    assert "Nothing yet" in text_of(parse_layout(FERNHOLLOW))


def test_a_plan_file_that_cannot_be_read_is_said_and_the_page_goes_on(watched):
    hall, _ = watched
    plan_path(hall.layout_path).write_text("reserve = 7")
    _, plan, trouble = as_it_stands(hall)
    assert plan == Plan()
    assert "reserve" in trouble
    assert trouble in text_of(parse_layout(FERNHOLLOW), standing=SupplyVerdict(file_trouble=trouble)).replace('\\"', '"')


def test_a_candidate_is_kept_weighed_and_taken_out(watched):
    hall, client = watched
    sent = {"name": "Used twin", "price": 45, "current": "ac", "rated_va": 110, "max_volts": 18, "outputs": 2, "count": 2}
    assert client.post("/candidate", json={"add": sent}, headers=ACT).status_code == 200
    layout, plan, trouble = as_it_stands(hall)
    assert trouble == ""
    assert plans_for(layout, plan, may_keep=True).ranking[0] == ("Used twin 1", pytest.approx(45 / 110))
    assert client.post("/candidate", json={"add": sent}, headers=ACT).status_code == 400
    assert client.post("/candidate", json={"remove": "Used twin"}, headers=ACT).status_code == 200
    assert as_it_stands(hall)[1].candidate == ()
    assert client.post("/candidate", json={"remove": "Used twin"}, headers=ACT).status_code == 400


def rounds(up):
    """U 0 V, V from 6 V up, C 14 V: with every throttle low, and with the left one up."""
    low = {"U-V": 6, "U-C": 14, "V-C": 8}
    return [{"volts": low}, {"throttle": "left", "volts": {"U-V": up, "U-C": 14, "V-C": abs(up - 14)}}]


def test_measured_terminals_are_kept(watched):
    hall, client = watched
    sent = {"supply": "North bench", "terminals": ["U", "V", "C"], "reading": rounds(18), "rails": 2}
    assert client.post("/terminals", json=sent, headers=ACT).status_code == 200
    (terminals,) = as_it_stands(hall)[1].terminals
    assert (terminals.common, terminals.hot) == ("U", {"A": "V"})
    for wrong, words in (
        ({**sent, "reading": rounds(18)[:1]}, "no throttle moves"),
        ({**sent, "terminals": ["U", "U", "C"]}, "same name"),
        ({**sent, "reading": rounds(40)}, "plate"),
        ({**sent, "reading": [rounds(18)[0], {"throttle": "left", "volts": {}}]}, "Measure with throttle left up"),
        ({**sent, "supply": "West"}, "say which supply"),
        ({**sent, "supply": "South bench"}, "not to be measured live"),
    ):
        answer = client.post("/terminals", json=wrong, headers=ACT)
        assert answer.status_code == 400
        assert answer.json["sentence"].startswith("Not kept")
        assert words in answer.json["sentence"]


def test_the_page_and_the_command_pass_the_plate(watched, tmp_path, capsys):
    # A tap of 5 V below the low mark: only the plate's 18 V say that U is the common.
    hall, client = watched
    low = {"U-B": 5, "U-C": 14, "U-A": 6, "B-C": 9, "B-A": 1, "C-A": 8}
    up = {**low, "U-A": 18, "B-A": 13, "C-A": 4}
    sent = {
        "supply": "North bench",
        "terminals": ["U", "B", "C", "A"],
        "reading": [{"volts": low}, {"throttle": "left", "volts": up}],
    }
    assert client.post("/terminals", json=sent, headers=ACT).status_code == 200
    assert as_it_stands(hall)[1].terminals[0].common == "U"
    figures = tmp_path / "figures.toml"
    pairs = [", ".join(f'"{pair}" = {volts}' for pair, volts in each.items()) for each in (low, up)]
    figures.write_text(
        'terminals = ["U", "B", "C", "A"]\n'
        f'[[reading]]\nvolts = {{ {pairs[0]} }}\n[[reading]]\nthrottle = "left"\nvolts = {{ {pairs[1]} }}\n'
    )
    command = ["terminals", "--readings", str(figures), "--json", "--layout", str(hall.layout_path), "--supply", "North bench"]
    assert main(command) == 0
    assert json.loads(capsys.readouterr().out)["windings"][0]["common"] == "U"


def test_a_verdict_is_set_aside_in_plain_sight_only(watched):
    hall, client = watched
    hall.layout_path.write_text(FERNHOLLOW.replace('cord = "sound"', 'cord = "cloth"'))
    layout, plan, _ = as_it_stands(hall)
    assert "NOT TO BE USED: North bench" in text_of(layout, plan)
    named = {"supply": "North bench", "use": True, "reason": "rebuilt last week", "by": "Ada"}
    for refused in ({**named, "by": " "}, {**named, "reason": ""}, {**named, "supply": "West"}):
        assert client.post("/set-aside", json=refused, headers=ACT).status_code == 400
    assert client.post("/set-aside", json=named, headers=ACT).status_code == 200
    text = text_of(*as_it_stands(hall)[:2])
    assert "NOT TO BE USED: North bench" not in text
    assert "North bench gets no load" in text
    assert "Beware: used against the bench check's verdict: Ada answers for it" in text
    assert client.post("/set-aside", json={"supply": "North bench", "use": False}, headers=ACT).status_code == 200
    assert "NOT TO BE USED: North bench" in text_of(*as_it_stands(hall)[:2])
    hall.layout_path.write_text(FERNHOLLOW.replace("enclosed = true", "enclosed = false"))
    assert client.post("/set-aside", json=named, headers=ACT).status_code == 400


def test_a_draw_is_learnt_shown_and_kept(watched):
    hall, client = watched
    # Rows of a fifth of a second: it stands for two seconds, starts at 4.2 A, then runs at 2.4 A.
    amps = np.array([0.0] * 10 + [4.2] * 3 + [3.0] * 7 + [2.4] * 60)
    end_s = 0.2 * np.arange(1, len(amps) + 1) - 0.05
    hall.publish(readings=(readings_of(end_s, np.full(len(amps), 14.0), amps),))
    asked = {"load": "Heavy freight engine", "seconds": 20, "until_s": float(end_s[-1])}
    shown = client.post("/learn", json=asked, headers=ACT)
    assert shown.status_code == 200
    assert "2.40 A running" in shown.json["sentence"]
    assert "Starting: 4.20 A" in shown.json["sentence"]
    assert load_layout(hall.layout_path).load[0].measured_on is None
    assert client.post("/learn", json={**asked, "until_s": shown.json["until_s"], "keep": True}, headers=ACT).status_code == 200
    load = load_layout(hall.layout_path).load[0]
    assert (load.running_amps, load.starting_amps) == (2.4, 4.2)
    assert load.measured_on is not None
    assert hall.layout_path.read_text().startswith("# ours")
    assert f"measured {load.measured_on}" in text_of(load_layout(hall.layout_path))


@pytest.mark.parametrize(
    "sent",
    [
        {"load": "Ghost", "seconds": 20},
        {"load": "Heavy freight engine", "seconds": 1},
        {"load": "Heavy freight engine", "seconds": 20, "also": ["Ghost"]},
        {"load": "Heavy freight engine", "seconds": 20},
    ],
)
def test_what_cannot_be_learnt_is_said(watched, sent):
    _, client = watched
    answer = client.post("/learn", json={**sent, "until_s": 1.0, "keep": True}, headers=ACT)
    assert answer.status_code == 400
    assert answer.json["sentence"].startswith("Not learnt")


def test_learning_is_done_by_workers_and_refused_politely(watched, monkeypatch):
    _, client = watched

    def refuse(_pool, _asker, job, *_args):
        raise BusyError(f"{job.func.__name__}: try again in a minute.")

    monkeypatch.setattr(WorkerPool, "run", refuse)
    answer = client.post(
        "/learn", json={"load": "Heavy freight engine", "seconds": 20, "until_s": 1.0, "keep": True}, headers=ACT
    )
    assert (answer.status_code, answer.json["sentence"]) == (503, "learn_draw: try again in a minute.")


@pytest.mark.parametrize("path", ["/candidate", "/terminals", "/set-aside", "/learn"])
def test_only_the_page_itself_may_keep_plans(watched, path):
    hall, client = watched
    assert client.post(path, json={}).status_code == 403
    assert client.post(path, data=b"{", headers=ACT).status_code == 400
    assert hall.layout_path.read_text() == "# ours\n" + FERNHOLLOW
    assert not plan_path(hall.layout_path).exists()


def readings_of(end_s, volts, amps):
    """Of the first of four districts."""
    nothing = np.full((len(end_s), 4), np.nan)
    first = np.arange(4) == 0
    return ReadingBlock(
        board="bench-1", districts=("Outer main", "Inner main", "Quarry branch", "Town lights"), start_s=end_s - 1 / 60, end_s=end_s,
        volts_rms=np.where(first, volts[:, None], np.nan), amps_rms=np.where(first, amps[:, None], np.nan), volts_mean=nothing,
        amps_mean=nothing, watts=nothing, volts_peak=nothing, amps_peak=nothing, far_volts_rms=nothing,
        frequency_hz=np.full(len(end_s), 60.0),
    )  # fmt: skip


def test_without_a_file_nothing_is_kept():
    client = acting_app(Hall(4)).server.test_client()
    assert client.post("/bench", json={"supply": "North bench", "answers": {}}, headers=ACT).status_code == 409


def test_the_live_page_says_loudly_which_supply_its_bench_check_does_not_pass():
    layout = parse_layout(FERNHOLLOW)
    text = json.dumps(live_page(layout, refused={"South bench": "Not judged yet."}), default=lambda part: part.to_plotly_json())
    assert text.count("NOT PASSED BY ITS BENCH CHECK: Not judged yet.") == 1
    assert "NOT PASSED" not in json.dumps(live_page(layout), default=lambda part: part.to_plotly_json())


def page_of(client, path="/before", search=""):
    inputs = [
        {"id": "_pages_location", "property": name, "value": value} for name, value in (("pathname", path), ("search", search))
    ]
    dependency = next(each for each in client.get("/_dash-dependencies").json if "_pages_content" in each["output"])
    asked = {"output": dependency["output"], "outputs": [{"id": "_pages_content", "property": "children"},
             {"id": "_pages_store", "property": "data"}], "inputs": inputs, "changedPropIds": ["_pages_location.pathname"]}  # fmt: skip
    return client.post("/_dash-update-component", json=asked).text


def test_plans_are_made_in_a_worker_once_for_each_state_and_refused_politely(watched, monkeypatch):
    _hall, client = watched
    run, asked = WorkerPool.run, []

    def refuse(_pool, _asker, job, *_args):
        asked.append(job)
        raise BusyError("Too much is being worked at just now: try again in a minute.")

    monkeypatch.setattr(WorkerPool, "run", refuse)
    assert "try again in a minute" in page_of(client)
    assert asked == [encoded_plans]
    monkeypatch.setattr(WorkerPool, "run", run)
    assert "Sharing the load" in page_of(client)
    monkeypatch.setattr(WorkerPool, "run", refuse)
    assert "Sharing the load" in page_of(client)
