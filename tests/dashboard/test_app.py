import contextlib
import json
import socket
import threading
import time

import pytest

from dashboard.app import PageServer
from dashboard.feed import STREAMS_LIMIT, TICK_S, Feed
from monitor.errors import PageError
from tests.browser.hall import Hall
from tests.dashboard.acting import acting_app
from tests.link.plugs import until

ACT = {"X-Pilotlamp": "act"}


@pytest.fixture
def hall():
    made = Hall(4)
    for _ in range(3):
        made.began -= 0.4  # half a second and more of stream without waiting for it
        made.step()
    return made


@pytest.fixture
def client(hall):
    return acting_app(hall).server.test_client()


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/district?name=Outer%20main",
        "/district?name=nowhere",
        "/_dash-layout",
        "/_dash-dependencies",
        "/feed/now",
        "/feed/window",
    ],
)
def test_every_page_answers(client, path):
    assert client.get(path).status_code == 200


def test_scripts_are_served_those_of_every_page_in_order_and_those_of_one_page_with_it(client):
    page = client.get("/").text
    for asset in (
        "10_feed.js",
        "12_page_scripts.js",
        "20_chart.js",
        "30_live.js",
        "50_alerts.js",
        "page/traces.js",
        "page/review.js",
    ):
        with client.get(f"/assets/{asset}") as script:
            assert script.status_code == 200
        assert (asset in page) is not asset.startswith("page/")
    assert page.index("10_feed.js") < page.index("20_chart.js") < page.index("30_live.js")
    assert "plotly.min" not in page


@pytest.mark.parametrize(("address", "words"), [("/", "Outer main"), ("/district", "As it swings now")])
def test_pages_have_their_content(client, address, words):
    inputs = [{"id": "_pages_location", "property": prop, "value": value} for prop, value in
              (("pathname", address), ("search", "?name=Outer%20main"))]  # fmt: skip
    dependency = next(d for d in client.get("/_dash-dependencies").json if "_pages_content" in d["output"])
    answer = client.post(
        "/_dash-update-component",
        json={
            "output": dependency["output"],
            "outputs": [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
            "inputs": inputs,
            "changedPropIds": ["_pages_location.pathname"],
        },
    )
    assert answer.status_code == 200
    assert words in answer.text


def test_the_payload_carries_figures_that_went_in(client, hall):
    districts = client.get("/feed/now").json["districts"]
    assert [float(d["volts"]) for d in districts] == pytest.approx(hall.volts, abs=0.2)
    assert [float(d["amps"]) for d in districts] == pytest.approx(hall.amps, abs=0.15)
    assert all(d["level"] in ("well", "rest") for d in districts)


def test_polling_with_a_cursor_gets_nothing_twice(client):
    first = client.get("/feed/now").json
    again = client.get(f"/feed/now?after={first['number']}")
    assert again.status_code == 204


def test_all_viewers_get_the_same_bytes_of_a_tick(hall):
    feed = Feed(hall)
    assert feed.ticker.current() is feed.ticker.current()
    first = feed.ticker.current()
    assert 0 < feed.ticker.due_in_s() <= TICK_S
    time.sleep(feed.ticker.due_in_s())
    second = feed.ticker.current()
    assert second.number == first.number + 1
    assert second.made_s - first.made_s >= TICK_S
    assert len(first.body) < 8000


def test_streams_are_limited_and_given_back(client):
    open_ones = [client.get("/feed/stream", buffered=False) for _ in range(STREAMS_LIMIT)]
    assert {answer.status_code for answer in open_ones} == {200}
    assert client.get("/feed/stream").status_code == 503
    for answer in open_ones:
        answer.close()
    answer = client.get("/feed/stream", buffered=False)
    assert answer.status_code == 200
    chunks = iter(answer.response)
    assert json.loads(next(chunks).removeprefix(b"data: "))["number"] >= 1
    answer.close()
    for _ in range(STREAMS_LIMIT + 1):
        assert client.head("/feed/stream").status_code == 200  # takes no stream


def test_the_window_holds_the_last_minute(client):
    trace = client.get("/feed/window").json["trace"]
    assert len(trace["volts"]) == 4
    assert len(trace["volts"][0]) == 301
    assert sum(value is not None for value in trace["volts"][0]) >= 3


def test_a_district_from_near(client):
    detail = client.get("/feed/district?name=Outer main").json
    figures = {name: figure for name, figure, _ in detail["figures"]}
    assert float(figures["Volts, RMS"]) == pytest.approx(14.0, abs=0.2)
    # Crest factor of a sine is the square root of two; pure resistance has a power factor of one.
    assert float(figures["Volts, peak over RMS"]) == pytest.approx(1.41, abs=0.03)
    assert float(figures["Power factor"]) == pytest.approx(1.0, abs=0.03)
    assert len(detail["wave"]["volts"]) == round(0.1 / 832e-6)
    assert client.get("/feed/district?name=nowhere").status_code == 404


@pytest.mark.parametrize(
    ("asked", "kind", "until_s"),
    [
        ({"kind": "acknowledge", "warning_id": 3}, "acknowledge", None),
        ({"kind": "shelve", "warning_id": 3, "minutes": 15}, "shelve", 900),
        ({"kind": "mute", "minutes": 5}, "mute", 300),
        ({"kind": "mark", "text": "<b>cleaned</b> rails", "district": "Inner main"}, "mark", None),
    ],
)
def test_acting_reaches_the_watch(client, hall, asked, kind, until_s):
    assert client.post("/act", json=asked, headers=ACT).status_code == 200
    (action,) = hall.operated
    assert action.kind == kind
    assert action.at_s == pytest.approx(hall.now_s(), abs=1.0)
    assert action.until_s is None or action.until_s == pytest.approx(action.at_s + until_s)
    assert action.text == asked.get("text", "")


@pytest.mark.parametrize(
    "asked",
    [
        {"kind": "explode"},
        {"kind": "shelve", "warning_id": 3},
        {"kind": "acknowledge"},
        {"kind": "mark", "text": "  "},
        {"kind": "mark", "text": "x" * 201},
        {"kind": "mark", "text": "x", "district": "nowhere"},
        {"kind": "mute", "minutes": 1e9},
        {"kind": "mute", "minutes": 5, "volts": 12},
        [],
    ],
)
def test_a_wish_that_makes_no_sense_is_refused_with_a_sentence(client, hall, asked):
    answer = client.post("/act", json=asked, headers=ACT)
    assert answer.status_code == 400
    assert answer.json["sentence"].endswith(".")
    assert hall.operated == []


@pytest.mark.parametrize(
    ("headers", "environ"),
    [
        ({}, {}),  # a form of another site cannot set the header
        ({**ACT, "Origin": "http://elsewhere.example"}, {}),
        ({**ACT, "Sec-Fetch-Site": "cross-site"}, {}),
        ({**ACT, "Host": "elsewhere.example"}, {}),
        (ACT, {"REMOTE_ADDR": "192.0.2.7"}),
    ],
)
def test_nobody_else_acts(client, hall, headers, environ):
    answer = client.post("/act", json={"kind": "mute", "minutes": 1}, headers=headers, environ_overrides=environ)
    assert answer.status_code == 403
    assert hall.operated == []


def test_nobody_else_looks(client):
    assert client.get("/", headers={"Host": "elsewhere.example"}).status_code == 403
    assert client.get("/feed/now", environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).status_code == 403
    assert client.get("/feed/now", headers={"Host": "localhost:8620"}).status_code == 200


def test_answers_carry_a_policy_that_keeps_everything_at_home(client):
    headers = client.get("/").headers
    assert headers["Content-Security-Policy"].startswith("default-src 'self'")
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_a_viewer_that_never_reads_gives_its_stream_back(hall, monkeypatch):
    monkeypatch.setattr("dashboard.feed.STREAMS_LIMIT", 1)
    monkeypatch.setattr("dashboard.server.DEAD_VIEWER_MS", 1000)
    monkeypatch.setattr("dashboard.asgi.PIECE_WITHIN_S", 1.0)
    monkeypatch.setattr("dashboard.feed.TICK_S", 0.001)  # fills what the network holds for the viewer sooner
    server = PageServer(hall, port=0)
    server.start()
    ask = f"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n".encode()

    def answer():
        with socket.create_connection(("127.0.0.1", server.port)) as other:
            other.sendall(ask)
            return other.recv(12)

    with socket.socket() as viewer:
        viewer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        viewer.connect(("127.0.0.1", server.port))
        viewer.sendall(ask)
        try:
            assert viewer.recv(12).endswith(b"200")
            assert answer().endswith(b"503")
            until(lambda: answer().endswith(b"200"))
        finally:
            server.close()


def test_a_closed_server_has_let_its_threads_and_sockets_go(hall):
    others = set(threading.enumerate())  # servers of other tests may be running
    server = PageServer(hall, port=0)
    server.start()
    viewers = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(5)]
    for viewer in viewers:
        viewer.sendall(b"GET /feed/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert viewer.recv(12).endswith(b"200")
    server.close()
    for viewer in viewers:
        with contextlib.suppress(ConnectionResetError):
            while viewer.recv(65536):
                pass
        viewer.close()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", server.port))
    ends_s = time.monotonic() + 60
    while any(thread.name.startswith("page") for thread in set(threading.enumerate()) - others):
        assert time.monotonic() < ends_s
        time.sleep(0.05)


def test_a_taken_port_is_one_clear_sentence(hall):
    server = PageServer(hall, port=0)
    server.start()
    try:
        with pytest.raises(PageError, match=f":{server.port} .*another program.*--web-port"):
            PageServer(hall, port=server.port)
    finally:
        server.close()
