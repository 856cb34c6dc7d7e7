"""Moving a replay from the page, by those who may."""

import time

import dash
import pytest

from monitor.layout import load_layout
from monitor.runtime.replay import Replay
from tests.browser.hall import Hall
from tests.dashboard.acting import acting_app
from tests.sessions.test_demo_sessions import SHIPPED

ACT = {"X-Pilotlamp": "1"}
PATIENCE_S = 60


@pytest.fixture
def played(tmp_path):
    larger = tmp_path / "larger.toml"
    text = (SHIPPED[0].path / "layout.toml").read_text()
    larger.write_text(text.replace("rated_amps = 8\n", "rated_amps = 16\n"))
    replay = Replay(SHIPPED[0], load_layout(larger), speed=1.0)
    replay.pause()
    replay.start()
    yield replay, acting_app(replay).server.test_client()
    replay.stop()


def asked(client, **wish):
    answer = client.post("/replay", json=wish, headers=ACT)
    assert answer.status_code == 200
    return answer.json


def until(client, condition):
    ends_s = time.monotonic() + PATIENCE_S
    while not condition(told := client.get("/replay").json):
        assert time.monotonic() < ends_s, told
        time.sleep(0.05)
    return told


def test_steps_events_speeds_and_moments(played):
    _, client = played
    assert until(client, lambda told: told["state"] == "paused")["at_s"] == 0
    asked(client, do="step")
    first = until(client, lambda told: told["state"] == "paused" and told["at_s"] > 0)
    asked(client, do="next")
    # The first thing that happens in it: contact is lost at 5.3 s.
    assert 5 <= until(client, lambda told: told["state"] == "paused" and told["at_s"] > first["at_s"])["at_s"] <= 8
    assert asked(client, do="speed", speed=60)["speed"] == 60
    asked(client, do="play")
    ended = until(client, lambda told: told["state"] == "ended")
    assert ended["at_s"] == pytest.approx(66, abs=1)
    assert any("would have held" in line and "North bench" in line for line in ended["verdicts"])
    asked(client, do="seek", at_s=0)
    assert until(client, lambda told: told["state"] == "paused")["at_s"] < 1


def test_its_own_layout_is_not_judged_anew():
    replay = Replay(SHIPPED[0])
    assert replay.verdicts() == ()
    assert not replay.is_rejudged


@pytest.mark.parametrize(
    "wish", [{"do": "explode"}, {"do": "speed", "speed": 1e9}, {"do": "seek", "at_s": -1}, {}, {"do": "play", "x": 1}]
)
def test_what_makes_no_sense_changes_nothing(played, wish):
    _, client = played
    assert client.post("/replay", json=wish, headers=ACT).status_code == 400
    assert client.get("/replay").json["state"] == "paused"


def test_a_past_line_leads_into_the_session_that_is_played(played):
    """Not into the newest one, though another session was recorded later."""
    shown = dash.page_registry["review"]["layout"](session="now", at="40.0")
    (chosen,) = (part.data for part in shown._traverse() if getattr(part, "id", "") == "review-chosen")
    assert chosen[0] == played[0].session.path.name == SHIPPED[0].path.name


def test_only_those_who_may_act_move_it(played):
    _, client = played
    assert client.post("/replay", json={"do": "play"}).status_code == 403
    assert client.post("/replay", json={"do": "play"}, headers={**ACT, "Origin": "http://elsewhere.example"}).status_code == 403


def test_a_watch_has_no_such_address():
    assert acting_app(Hall(4)).server.test_client().get("/replay").status_code in (200, 404)
    assert acting_app(Hall(4)).server.test_client().post("/replay", json={"do": "play"}, headers=ACT).status_code in (404, 405)


def test_the_bar_says_that_it_is_no_present(played):
    replay, client = played
    text = str(client.get("/_dash-layout").json)
    assert "A replay, not the present" in text
    assert "by another layout file" in text
    assert "Invented" in text
    assert replay.layout_path is None
