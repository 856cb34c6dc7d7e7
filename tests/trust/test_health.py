"""/healthz and /metrics, over sockets; the metrics are read by prometheus-client's own strict parser of OpenMetrics."""

import http.client
import json
import signal

import pytest
from prometheus_client import openmetrics
from prometheus_client import parser as plain_parser
from prometheus_client.openmetrics import parser

from dashboard.app import PageOptions, PageServer
from monitor.runtime.supervision import PartHealth
from monitor.sessions import find_sessions
from monitor.values import Finding, FindingKind, Priority
from tests.browser.hall import Hall
from tests.browser.test_live_page import warning
from tests.cli.test_watch import pilotlamp
from tests.link.plugs import until
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import record

VISITOR = {"X-Forwarded-For": "192.0.2.7"}
OPENMETRICS = "application/openmetrics-text; version=1.0.0"


@pytest.fixture
def hall():
    made = Hall(4, names=(r"<b>\"Outer\\main\"</b>", "Inner main", "Quarry branch", "Town lights"))
    for _ in range(4):
        made.began -= 0.4
        made.step()
    return made


@pytest.fixture
def serve():
    """Serves a hall; gives what asks it."""
    servers = []

    def start(hall, *, shared=False):
        server = PageServer(hall, port=0, options=PageOptions(shared=shared))
        servers.append(server)
        server.start()

        def ask(path, **headers):
            line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
            line.request("GET", path, headers=headers)
            answer = line.getresponse()
            answer.text = answer.read().decode()
            line.close()
            return answer

        return ask

    yield start
    for server in servers:
        server.close()


def families(text):
    return {family.name: family for family in parser.text_string_to_metric_families(text)}


def figures(family):
    return {tuple(sample.labels.values()): sample.value for sample in family.samples}


def test_metrics_are_openmetrics_with_units_and_the_figures_that_went_in(hall, serve):
    hall.publish(warnings=(warning(Priority.HIGH),))
    answer = serve(hall)("/metrics", Accept=OPENMETRICS)
    assert answer.getheader("Content-Type").startswith("application/openmetrics-text; version=1.0.0; charset=utf-8")
    assert answer.text.endswith("# EOF\n")
    found = families(answer.text)
    volts = found["pilotlamp_district_volts"]
    assert (volts.type, volts.unit) == ("gauge", "volts")
    # Names with quotes and backslashes come back as they were.
    assert figures(volts) == {
        (row.name,): pytest.approx(v, abs=0.2) for row, v in zip(hall.layout.district, hall.volts, strict=True)
    }
    amps = figures(found["pilotlamp_district_amperes"])
    assert list(amps.values()) == [pytest.approx(a, abs=0.15) for a in hall.amps]
    assert figures(found["pilotlamp_warnings"]) == {("low",): 0, ("medium",): 0, ("high",): 1}
    assert figures(found["pilotlamp_part_up"]) == {("hall",): 1}
    assert found["pilotlamp_part_restarts"].type == "counter"
    assert found["process_open_fds"].samples[0].value > 3
    # OpenMetrics 1.0, "Metric naming": a unit, where there is one, is the end of the name.
    assert all(name.endswith(family.unit) for name, family in found.items())


def test_whoever_asks_for_plain_text_gets_that(hall, serve):
    answer = serve(hall)("/metrics", Accept="text/plain")
    assert answer.getheader("Content-Type").startswith("text/plain")
    names = {family.name for family in plain_parser.text_string_to_metric_families(answer.text)}
    assert {"pilotlamp_district_volts", "pilotlamp_part_up"} <= names
    assert openmetrics.exposition.CONTENT_TYPE_LATEST.startswith("application/openmetrics-text")


def test_stale_figures_are_left_out_and_their_age_goes_on(hall, serve):
    hall.began -= 30.0
    found = families(serve(hall)("/metrics", Accept=OPENMETRICS).text)
    assert figures(found["pilotlamp_district_volts"]) == {}
    assert min(figures(found["pilotlamp_district_data_age_seconds"]).values()) > 29


def test_a_doubtful_sensor_is_told(hall, serve):
    stuck = Finding(
        id=1, board="bench-1", channel=3, kind=FindingKind.STUCK, start_s=0.0, end_s=None, count=9, check="Look at its plug."
    )
    hall.publish(findings=(stuck,))
    good = figures(families(serve(hall)("/metrics", Accept=OPENMETRICS).text)["pilotlamp_district_sensing_good"])
    assert good["Inner main",] == 0
    assert good["Town lights",] == 1


def test_health_tells_each_part_with_its_age(hall, serve):
    answer = serve(hall)("/healthz")
    assert (answer.status, answer.getheader("Content-Type")) == (200, "application/json")
    said = json.loads(answer.text)
    assert said["status"] == "well"
    assert said["parts"] == [{"name": "hall", "state": "working", "age_s": 0.0, "failures": 0, "restarts": 0, "trouble": ""}]
    assert [row["stale"] for row in said["districts"]] == [False] * 4
    assert said["ports"][0]["state"] == "reading"


@pytest.mark.parametrize(
    ("wrong", "state"),
    [
        ({"is_stalled": True, "still_s": 9.0, "standstill": "It stands still."}, "standing still"),
        ({"alive": False, "trouble": "ValueError: x"}, "not running"),
    ],
)
def test_a_part_in_trouble_is_503(hall, serve, monkeypatch, wrong, state):
    part = PartHealth(**{"name": "pipeline", "alive": True, "failures": 2, "trouble": "", **wrong})
    monkeypatch.setattr(hall, "parts", lambda: (part,))
    ask = serve(hall)
    answer = ask("/healthz")
    assert answer.status == 503
    (said,) = json.loads(answer.text)["parts"]
    assert (said["state"], said["age_s"]) == (state, wrong.get("still_s", 0.0))
    assert said["trouble"] == (wrong.get("standstill") or wrong["trouble"])
    assert figures(families(ask("/metrics", Accept=OPENMETRICS).text)["pilotlamp_part_up"]) == {("pipeline",): 0}


def test_a_recording_that_stopped_is_503(hall, serve):
    hall.live.set_recording("The disk is full.", False)
    answer = serve(hall)("/healthz")
    assert answer.status == 503
    assert json.loads(answer.text)["recording"] == {"well": False, "sentence": "The disk is full."}


def test_a_shared_replay_is_looked_at_from_elsewhere_and_says_how_it_does(tmp_path):
    record(tmp_path, packed_stream(sine_counts(4.0)), 4.0)
    (session,) = find_sessions(tmp_path)
    process = pilotlamp("replay", session.path, "--share", "--web-port", 0, cwd=tmp_path)
    try:
        at = next(line for line in process.stdout if line.startswith("The page is at "))
        line = http.client.HTTPConnection("127.0.0.1", int(at.rstrip("/\n").rsplit(":", 1)[1]), timeout=120)

        def health():
            line.request("GET", "/healthz", headers=VISITOR)
            answer = line.getresponse()
            said = json.loads(answer.read())
            return said if answer.status == 200 and said["ports"] else None

        said = until(health)  # the page is there a moment before the replay begins
        assert [part["state"] for part in said["parts"]] == ["working"]
        assert said["ports"][0]["state"] == "reading"
        assert not {"port", "sentence"} & set(said["ports"][0])  # paths and devices of this computer are no visitor's business
        line.request("GET", "/metrics", headers={**VISITOR, "Accept": OPENMETRICS})
        assert "pilotlamp_part_up" in families(line.getresponse().read().decode())
        line.close()
        assert any("/enter#" in line for line in process.stdout)
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=120)


@pytest.mark.parametrize("path", ["/healthz", "/metrics"])
def test_both_pass_the_gate(hall, serve, path):
    private, shared = serve(hall), serve(hall, shared=True)
    assert private(path).status == 200
    assert private(path, **VISITOR).status == 403
    assert private(path, Host="elsewhere.example").status == 403
    assert shared(path, **VISITOR).status == 200
