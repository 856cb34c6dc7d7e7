"""Hostile text through every field that anybody can write: markup on no page and in no report, steering characters on no terminal.

Layout and plan (names, notes, reasons), marks, ports, a session folder's own name, and what stations say to a hall. Markup is found by
the standard library's parser and by a real browser; what steers is what Unicode calls a control or a format character.
"""

import json
import os
import re
import unicodedata
from html.parser import HTMLParser
from urllib.parse import quote

import pytest

from dashboard.hall.app import create_hall_app, hall_server
from monitor.cli.main import main
from monitor.layout import parse_layout
from monitor.runtime import Pipeline
from monitor.sessions import SessionFolder
from monitor.sessions.recorder import Recorder
from monitor.sessions.recording import SessionOptions
from monitor.values import Action
from tests.browser import hall as halls
from tests.dashboard.acting import acting_app
from tests.dashboard.hall.told import ToldHall
from tests.layout.fernhollow import FERNHOLLOW
from tests.link.plugs import until
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT, chunks_of, overload_stream

TAG = "hostile-mark"
HOSTILE = f"\"'></title></script><{TAG} onload=x>\x1b[2J\x1b]0;x\x07\u202e{{{{7*7}}}}"
IN_A_FILE_NAME = f"2026-11-21_14-00-00_\"'><{TAG} onload=x>\x1b[2J" + os.fsdecode(b"\xff")
PRINTABLE = "".join(each for each in HOSTILE if each.isprintable())
ACT = {"X-Pilotlamp": "act"}
SECONDS = 6.0
LONG_ENOUGH = 200
"""Characters that a page shows once it is more than its frame."""


def hostile(text):
    """A layout's text with every name in it made hostile, each still another one, and notes wherever they can stand."""
    names = dict.fromkeys(re.findall(r'^(?:title|name) = "(.*)"', text, flags=re.MULTILINE))
    for number, name in enumerate(names):
        text = text.replace(f'"{name}"', json.dumps(f"{number}{HOSTILE}"))
    return text.replace(
        "[supply.condition]\n", f"[supply.condition]\nnote = {json.dumps(HOSTILE)}\nserial = {json.dumps(HOSTILE[:80])}\n"
    )


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """A recording of a hostile layout with a hostile mark, through a hostile port, in a folder of a hostile name."""
    recordings = tmp_path_factory.mktemp("hostile") / "recordings"
    text = hostile(LAYOUT_TEXT)
    pipeline = Pipeline(parse_layout(text))
    recorder = Recorder(recordings, text, began_at=BEGAN_AT, options=SessionOptions(ports={"a": HOSTILE}), reserve_bytes=0)
    for number, chunk in enumerate(chunks_of(overload_stream(SECONDS), SECONDS)):
        if number == 100:
            pipeline.operate(Action(kind="mark", at_s=chunk.received_s, text=HOSTILE, by=HOSTILE))
        recorder.put(pipeline.feed(HOSTILE, chunk))
    recorder.put(pipeline.finish(HOSTILE))
    recorder.close(HOSTILE)
    (folder,) = recordings.iterdir()
    return folder.rename(recordings / IN_A_FILE_NAME)


@pytest.fixture
def watch(session, tmp_path, monkeypatch):
    """A running watch of a hostile layout, beside that recording, and a client that may act."""
    monkeypatch.setattr(halls, "parse_layout", lambda text: parse_layout(hostile(text)))
    hall = halls.Hall(4)
    hall.recordings, hall.layout_path = session.parent, tmp_path / "show.toml"
    hall.layout_path.write_text(hostile(FERNHOLLOW))
    hall.live.set_recording(HOSTILE, False)
    hall.live.set_troubles((HOSTILE,))
    for _ in range(3):
        hall.began -= 0.4
        hall.step()
    client = acting_app(hall).server.test_client()
    supply = parse_layout(hostile(FERNHOLLOW)).supply[1].name
    candidate = {"name": HOSTILE, "price": 45, "current": "ac", "rated_va": 110, "max_volts": 18, "outputs": 2, "count": 2}
    kept = {
        "/candidate": {"add": candidate},
        "/set-aside": {"supply": supply, "use": True, "reason": HOSTILE, "by": HOSTILE[:80]},
    }
    for path, sent in {**kept, "/act": {"kind": "mark", "text": HOSTILE}}.items():
        answer = client.post(path, json=sent, headers=ACT)
        assert answer.status_code == 200, answer.text
    return hall, client


class Elements(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.found += [
            tag,
            *(name for name, value in attributes if name.startswith("on") or str(value).startswith("javascript:")),
        ]


def has_markup(text):
    found = Elements(text).found
    return [each for each in found if each in (TAG, "onload") or each.startswith("on")]


def answers(client, session):
    """Every address that can be looked at, as text, with its kind."""
    here = f"session={quote(SessionFolder(session).name)}"
    for rule in sorted({rule.rule for rule in client.application.url_map.iter_rules() if "GET" in rule.methods}):
        if "stream" in rule or "_dash-component-suites" in rule:
            continue
        path = re.sub(r"<int:[^>]*>", "1", rule).replace("<form>", "csv").replace("<path:path>", "before")
        for query in ("", here, f"{here}&from=0&to=5&points=100"):
            with client.get(f"{path}?{query}") as answer:
                assert answer.status_code < 500 or path == "/healthz", (path, answer.text[:300])
                yield path, answer


def test_no_page_no_answer_and_no_report_holds_markup_of_anybody_else(watch, session):
    _hall, client = watch
    seen = set()
    for path, answer in answers(client, session):
        kind = answer.mimetype
        if kind == "text/html":
            assert has_markup(answer.text) == [], path
        assert all(each.isprintable() for value in dict(answer.headers).values() for each in value), path
        if TAG in answer.get_data(as_text=False).decode("utf-8", "replace"):
            seen.add((path, kind))
    # It was there to be found: on the pages' frame, in the sheet and the report, and in what scripts put in as text.
    assert {("/", "text/html"), ("/review/sheet", "text/html"), ("/review/report", "text/html")} <= seen
    assert {("/feed/now", "application/json"), ("/review/marks", "application/json")} <= seen
    assert {kind.partition("/")[0] for _path, kind in seen} <= {"text", "application"}


def test_names_that_are_not_utf_8_stop_no_page(watch):
    """POSIX allows any bytes in a file's name; what is said of a full disk names the folder."""
    hall, client = watch
    odd = os.fsdecode(b"/media/\xff")
    hall.live.set_recording(odd, False)
    hall.live.set_troubles((odd,))
    assert client.get("/feed/now").json["recording"]["sentence"] == "/media/?"
    assert client.get("/healthz").json["status"] == "in trouble"


def test_pages_made_of_components_keep_text_as_text(watch):
    _hall, client = watch
    inputs = {"pathname": "/before", "search": ""}
    dependency = next(each for each in client.get("/_dash-dependencies").json if "_pages_content" in each["output"])
    for path in ("/", "/before", "/stalls", "/review", "/district", "/help"):
        asked = {
            "output": dependency["output"],
            "outputs": [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
            "inputs": [
                {"id": "_pages_location", "property": name, "value": value}
                for name, value in {**inputs, "pathname": path}.items()
            ],
            "changedPropIds": ["_pages_location.pathname"],
        }
        for component in components(client.post("/_dash-update-component", json=asked).json):
            # These alone of Dash's own would take text for markup, or for an address that runs.
            assert component["type"] not in ("Markdown", "DangerouslySetInnerHTML", "Iframe", "Script", "ObjectEl", "Embed")
            for name in ("href", "src", "action"):
                assert not str(component["props"].get(name, "")).lower().startswith(("javascript:", "data:text"))


def components(part):
    if isinstance(part, dict):
        if {"type", "props", "namespace"} <= part.keys():
            yield part
        for each in part.values():
            yield from components(each)
    elif isinstance(part, list):
        for each in part:
            yield from components(each)


def told_hall():
    hall = ToldHall(f"1{PRINTABLE}"[:80], "Harbour", districts=(HOSTILE, "Town lights"))
    hall.run(5.0)
    hall.warn("Harbour", "high", HOSTILE)
    return hall


def test_a_halls_answers_hold_no_markup_of_a_stations():
    client = create_hall_app(told_hall(), HOSTILE).server.test_client()
    assert has_markup(client.get("/").text) == []
    for path in ("/feed/now", "/feed/window", "/healthz"):
        answer = client.get(path)
        assert (answer.mimetype, answer.headers["X-Content-Type-Options"]) == ("application/json", "nosniff")


@pytest.mark.parametrize(
    "command",
    [
        ("layout", "check", "LAYOUT"), ("bench", "LAYOUT"), ("budget", "LAYOUT"), ("share", "LAYOUT"), ("wiring", "LAYOUT"),
        ("morning", "LAYOUT"), ("phase", "LAYOUT"), ("sessions", "--recordings", "RECORDINGS"),
        ("sessions", "check", "--recordings", "RECORDINGS"),
        ("sift", "SESSION"),
        ("replay", "SESSION", "--no-page", "--speed", "60"), ("report", "SESSION"), ("pack", "SESSION"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_nothing_steers_the_terminal(watch, session, command, capsys, tmp_path, monkeypatch):
    hall, _client = watch
    monkeypatch.chdir(tmp_path)
    places = {"LAYOUT": hall.layout_path, "SESSION": session, "RECORDINGS": session.parent}
    main([str(places.get(word, word)) for word in command])
    said = "".join(capsys.readouterr())
    assert [each for each in said if unicodedata.category(each) in ("Cc", "Cf") and each not in "\n\t"] == []
    assert said


@pytest.mark.browser
def test_a_browser_makes_no_element_of_it(watch, session, browser):
    from dashboard.app import PageServer  # noqa: PLC0415 - beside the acting client

    hall, _client = watch
    told = told_hall()
    servers = [PageServer(hall, port=0), hall_server(told, HOSTILE, port=0)]
    hall.start()
    context = browser.new_context()
    page = context.new_page()
    page.set_default_timeout(120_000)  # the first of what workers make waits for their start
    complaints = []
    page.on("console", lambda line: complaints.append(line.text) if "Content Security" in line.text else None)
    named = f"session={quote(SessionFolder(session).name)}"
    district = quote(hall.layout.district[0].name)
    paths = [
        "",
        "before",
        "stalls",
        f"district?name={district}",
        *(f"{path}?{named}" for path in ("stalls", "review", "review/report")),
    ]
    pages = [(servers[0], path) for path in paths]
    pages += [(servers[1], ""), (servers[1], f"station?hall={quote('Fernhollow hall')}&station=Harbour")]
    try:
        for server in servers:
            server.start()
        for server, path in pages:
            page.goto(server.address + path)
            page.wait_for_load_state("networkidle" if "report" in path else "load")
            until(lambda: len(page.inner_text("body")) > LONG_ENOUGH)
            page.wait_for_timeout(300)
            assert page.locator(TAG).count() == 0, path
            assert page.locator("[onload]").count() == 0, path
        assert complaints == []
    finally:
        context.close()
        hall.stop()
        for server in servers:
            server.close()
