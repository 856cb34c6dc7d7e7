"""The hall's pages: what they are told is what the stations said, no older than they say, worst first."""

from html.parser import HTMLParser
from urllib.parse import urlencode

import pytest

from dashboard.hall.app import create_hall_app
from dashboard.hall.as_layout import layout_of, trend_of
from dashboard.hall.payload import clock_words
from monitor.runtime.trend import BUCKET_S
from tests.dashboard.hall.told import HALL, ToldHall


@pytest.fixture
def hall():
    made = ToldHall("Ridge", "Harbour", "Mill")
    made.run(5.0)
    return made


@pytest.fixture
def client(hall):
    return create_hall_app(hall, HALL).server.test_client()


def asked(name, path="now"):
    return f"/feed/{path}?" + urlencode({"hall": HALL, "station": name})


def test_stations_come_worst_first_with_their_districts(hall, client):
    hall.warn("Mill", "medium", "North bench is close to its plate.", None)
    hall.warn("Harbour", "high")
    said = client.get("/feed/now").json
    assert [station["name"] for station in said["stations"]] == ["Harbour", "Mill", "Ridge"]
    assert [station["level"] for station in said["stations"]] == ["high", "medium", "well"]
    assert (
        said["headline"]["sentence"] == "Harbour: North bench is overloaded: its protection opens in about 60 s (30 s to 2 min)."
    )
    assert said["headline"]["opens"]["in_s"] == pytest.approx(60.0)
    assert [row["amps"] for row in said["stations"][2]["districts"]] == ["2.0", "2.0"]
    assert [row["share"] for row in said["stations"][2]["districts"]] == [0.2, 0.2]
    assert [(w["where"], w["word"]) for w in said["warnings"]] == [
        ("Harbour, North bench", "act now"),
        ("Mill, North bench", "act soon"),
    ]


def test_clipped_figures_are_lower_bounds(hall, client):
    hall.run(1.0, clipped=("Outer main",))
    stations = client.get("/feed/now").json["stations"]
    assert [[row["amps"] for row in station["districts"]] for station in stations] == [["≥\u00a02.0", "2.0"]] * 3
    own = client.get(asked("Mill")).json["districts"]
    assert [(row["amps"], row["va"], row["clipped"]) for row in own] == [
        ("≥\u00a02.00", "≥\u00a030", True),
        ("2.00", "30", False),
    ]
    hall.run(1.0)
    assert "≥" not in str(client.get(asked("Ridge")).json["districts"])


def test_a_countdown_goes_on_while_nothing_comes(hall, client):
    hall.warn("Harbour", "high")
    hall.run(10.0)
    assert client.get("/feed/now").json["headline"]["opens"]["in_s"] == pytest.approx(50.0)


def test_a_station_that_falls_silent_is_told_and_nothing_of_it_is_live(hall, client):
    hall.run(20.0, silent=("Ridge",))
    ridge = next(s for s in client.get("/feed/now").json["stations"] if s["name"] == "Ridge")
    assert (ridge["level"], ridge["word"]) == ("stale", "silent")
    assert ridge["age_s"] == pytest.approx(20.0)
    own = client.get(asked("Ridge")).json
    assert {row["level"] for row in own["districts"]} == {"stale"}
    assert own["headline"]["level"] == "stale"
    assert own["supplies"][0]["level"] == "stale"


def test_a_station_is_shown_in_the_form_of_its_own_live_page(hall, client):
    hall.warn("Harbour", "high")
    own = client.get(asked("Harbour")).json
    assert [row["amps"] for row in own["districts"]] == ["2.00", "2.00"]
    assert [row["va"] for row in own["districts"]] == ["30", "30"]
    assert own["supplies"][0]["va"] == "60"
    assert own["warnings"][0]["advice"] == "Stop a train."
    assert own["headline"]["level"] == "high"
    assert client.get(asked("Nowhere")).status_code == 404


def test_the_last_minute_of_a_station_is_drawn_from_its_rows(hall):
    hall.run(3.0, amps=4.0)
    station = hall.look(HALL, "Ridge").stations[0]
    window = trend_of(station, layout_of(station), 100.0, 60)
    # Twelve seconds back: three of 4 A, five of 2 A before them, and before those nothing.
    amps = window.amps_rms[:, 0].tolist()
    assert amps[-1] != amps[-1]  # the bucket that begins now
    assert amps[-2] == 4.0
    assert amps[-round(2.5 / BUCKET_S)] == 4.0
    assert amps[-round(3.6 / BUCKET_S)] == 2.0
    assert amps[-round(7.5 / BUCKET_S)] == 2.0
    assert amps[0] != amps[0]
    assert window.first + 59 == round(100.0 / BUCKET_S)


def test_a_clock_that_is_off_is_told_and_makes_no_figure_older_or_younger():
    hall = ToldHall("Ridge", "Harbour")
    hall.ahead["Ridge"] = 90.0
    hall.run(6.0)
    hall.warn("Ridge", "high")
    hall.run(10.0)
    client = create_hall_app(hall, HALL).server.test_client()
    stations = {station["name"]: station for station in client.get("/feed/now").json["stations"]}
    assert (stations["Ridge"]["clock"], stations["Harbour"]["clock"]) == ("clock 1 min 30 s ahead", "")
    assert stations["Ridge"]["age_s"] == stations["Harbour"]["age_s"] == 0.0
    assert client.get(asked("Ridge")).json["warnings"][0]["opens"]["in_s"] == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("ahead_s", "words"), [(None, ""), (1.9, ""), (-3.0, "clock 3 s behind"), (3700.0, "clock 1 h 1 min ahead")]
)
def test_how_a_clock_is_said(ahead_s, words):
    assert clock_words(ahead_s) == words


def test_without_a_broker_everything_is_called_old(hall, client):
    hall.connected, hall.sentence = False, "The broker of the hall cannot be reached: the broker is away."
    said = client.get("/feed/now").json
    assert said["headline"] == {
        "level": "stale", "sentence": hall.sentence, "more": "What is below is old.", "opens": None, "ids": [], "latched": False, "why": "",
    }  # fmt: skip
    assert not said["ports"][0]["well"]


def test_of_very_many_stations_the_worst_are_drawn_and_the_others_counted(monkeypatch):
    monkeypatch.setattr("dashboard.hall.payload.STATIONS_SHOWN", 2)
    hall = ToldHall(*(f"Layout {number}" for number in range(5)))
    hall.run(5.0)
    hall.warn("Layout 4", "high")
    said = create_hall_app(hall, HALL).server.test_client().get("/feed/now").json
    assert [station["name"] for station in said["stations"]] == ["Layout 4", "Layout 0"]
    assert said["more_stations"] == "3 further stations are not drawn: 3 running."


def test_the_wall_stops_at_trouble_only(hall, client):
    assert client.get("/feed/spots").json == []
    hall.warn("Mill", "low", "A feeder is close to what its wire carries.", None)
    hall.warn("Harbour", "high")
    assert client.get("/feed/spots").json == ["?" + urlencode({"hall": HALL, "station": name}) for name in ("Harbour", "Mill")]


def test_nobody_acts_from_here(client):
    refused = client.post("/act", json={"kind": "mute", "minutes": 5}, headers={"X-Pilotlamp": "act"})
    assert refused.status_code in (403, 404, 405)
    assert client.get("/", environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).status_code == 403


class _Scripts(HTMLParser):
    found = 0

    def handle_starttag(self, tag, attrs):
        self.found += tag == "script" and ("src", "x") in attrs


def test_names_from_the_bus_are_words_and_never_markup():
    hostile = '"><script src=x></script>'
    hall = ToldHall(hostile, districts=(hostile,))
    hall.run(5.0)
    hall.warn(hostile, "high", message=hostile, place="North bench")
    client = create_hall_app(hall, HALL).server.test_client()
    assert client.get("/feed/now").json["stations"][0]["name"] == hostile
    for path in ("/", "/station?" + urlencode({"hall": HALL, "station": hostile})):
        reader = _Scripts()
        reader.feed(client.get(path).text)
        assert reader.found == 0


def test_other_programs_are_told_how_each_station_is_and_whether_the_broker_is_heard(hall, client):
    hall.run(20.0, silent=("Ridge",))
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json["status"]) == (200, "well")
    ridge = next(station for station in answer.json["stations"] if station["name"] == "Ridge")
    assert (ridge["hall"], ridge["state"]) == (HALL, "silent")
    assert ridge["age_s"] == pytest.approx(20.0)
    hall.connected, hall.sentence = False, "The broker of the hall cannot be reached: the broker is away."
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json["broker"]["sentence"]) == (503, hall.sentence)
