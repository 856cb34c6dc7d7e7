"""The page before the show: what it says, and that answers are kept with the layout by those who may act only."""

import json

import pytest

from dashboard.app import create_app
from dashboard.pages.before import plans_for
from dashboard.views.before_page import before_page
from monitor.layout import load_layout, parse_layout
from monitor.planning.bench_check import Fitness
from tests.browser.hall import Hall
from tests.layout.fernhollow import FERNHOLLOW

ACT = {"X-Pilotlamp": "1"}


@pytest.fixture
def watched(tmp_path):
    hall = Hall(4)
    hall.layout_path = tmp_path / "show.toml"
    hall.layout_path.write_text("# ours\n" + FERNHOLLOW)
    return hall, create_app(hall).server.test_client()


def text_of(layout):
    return json.dumps(
        before_page(layout, plans_for(layout, may_keep=True)).to_plotly_json(), default=lambda part: part.to_plotly_json()
    )


def test_verdicts_budget_sharing_phasing_and_list_are_on_it():
    text = text_of(parse_layout(FERNHOLLOW))
    for words in ("Fit to use", "Not yet judged", "nameplate total", "Sharing the load", "NEM 609", "Show morning"):
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


def test_without_a_file_nothing_is_kept():
    client = create_app(Hall(4)).server.test_client()
    assert client.post("/bench", json={"supply": "North bench", "answers": {}}, headers=ACT).status_code == 409
