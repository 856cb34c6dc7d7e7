"""Attacks on the page as it is really served, over sockets.

A request that says it came through a proxy counts as coming from another machine, so a visitor can be played on any machine.
"""

import http.client
import json
import logging
import socket
import stat
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.access import INVITATION_LASTS_S, VISIT_LASTS_S, Visits
from dashboard.app import PageOptions, PageServer
from dashboard.login_routes import FREE_TRIES, FREE_TRIES_OF_ALL, LONGEST_WAIT_S, LoginThrottle
from dashboard.passphrase import Passphrase
from monitor.errors import PageError
from tests.browser.hall import Hall
from tests.cli.test_watch import ended, pilotlamp

WORDS = "four plain lamps glow"
VISITOR = {"X-Forwarded-For": "192.0.2.7"}
ACT = {"X-Pilotlamp": "act"}
MUTE = {"kind": "mute", "minutes": 1}


class Served:
    def __init__(self, folder, *, shared):
        self.hall = Hall(4)
        self.passphrase = Passphrase(folder / "settings" / "passphrase")
        self.passphrase.keep(WORDS)
        self.server = PageServer(self.hall, port=0, options=PageOptions(shared=shared, passphrase_file=self.passphrase.path))
        self.server.start()

    def ask(self, method, path, what=None, **headers):
        connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=120)
        body = None if what is None else what if isinstance(what, bytes) else json.dumps(what)
        connection.request(method, path, body, {name.replace("_", "-"): value for name, value in headers.items()})
        answer = connection.getresponse()
        answer.text = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer

    def raw(self, sent):
        with socket.create_connection(("127.0.0.1", self.server.port), timeout=120) as line:
            line.sendall(sent)
            line.shutdown(socket.SHUT_WR)
            return b"".join(iter(lambda: line.recv(65536), b""))


@pytest.fixture
def served(tmp_path):
    made = Served(tmp_path, shared=True)
    yield made
    made.server.close()


@pytest.fixture
def private(tmp_path):
    made = Served(tmp_path, shared=False)
    yield made
    made.server.close()


@pytest.fixture
def acting(private, monkeypatch):
    """One whose every request may act."""
    monkeypatch.setattr(Visits, "known", lambda _visits, _text: True)
    return private


def cookie(answer):
    return answer.getheader("Set-Cookie").split(";")[0]


def test_unshared_the_page_answers_on_this_machine_only(private):
    assert private.ask("GET", "/").status == 200
    assert private.ask("GET", "/", **VISITOR).status == 403
    with pytest.raises(OSError, match=r"refused|unreachable"):  # 127.0.0.2 is this machine too, but not where it listens
        socket.create_connection(("127.0.0.2", private.server.port), timeout=5)


def test_shared_a_visitor_looks_and_does_not_act(served):
    assert served.ask("GET", "/feed/now", **VISITOR).status == 200
    for path in ("/act", "/bench", "/learn", "/candidate", "/terminals", "/set-aside", "/anything", "/_dash-update-component/x"):
        for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
            assert served.ask(method, path, MUTE, **VISITOR, **ACT).status == 403, (method, path)
    assert served.hall.operated == []


def test_this_machine_acts_by_its_link_and_what_only_looks_local_does_not(served):
    # Many proxies and tunnels add no header: all that comes through them looks like this machine.
    assert served.ask("POST", "/act", MUTE, **ACT).status == 403
    link = served.server.invitation(here=True)
    assert link.startswith(f"http://127.0.0.1:{served.server.port}/enter#")
    entered = served.ask("POST", "/enter", {"secret": link.split("#")[1]}, **ACT)
    assert served.ask("POST", "/act", MUTE, **ACT, Cookie=cookie(entered)).status == 200
    assert [action.by for action in served.hall.operated] == ["this machine"]


def test_a_page_at_another_port_leaves_a_visit_alone(served, private):
    # Browsers keep cookies by name and host and send them to every port (RFC 6265, section 8.5).
    name = cookie(served.ask("POST", "/enter", {"passphrase": WORDS}, **ACT)).split("=")[0]
    assert name != cookie(private.ask("POST", "/enter", {"passphrase": WORDS}, **ACT)).split("=")[0]


def test_a_passphrase_opens_a_visit_whose_cookie_no_script_and_no_other_site_gets(served):
    entered = served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR, **ACT)
    assert entered.status == 200
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(entered.getheader("Set-Cookie").split("; "))
    assert served.ask("POST", "/act", MUTE, **VISITOR, **ACT, Cookie=cookie(entered)).status == 200
    assert served.hall.operated[0].by.startswith("a visitor at ")
    served.ask("POST", "/leave", {}, **VISITOR, **ACT, Cookie=cookie(entered))
    assert served.ask("POST", "/act", MUTE, **VISITOR, **ACT, Cookie=cookie(entered)).status == 403  # a copy is worth nothing


@pytest.mark.parametrize("forged", ["", "x", "a.b.c", "0" * 32 + ".aaaaaa." + "b" * 27, "é", "x" * 5000])
def test_forged_cookies_open_nothing(served, forged):
    assert (
        served.ask("POST", "/act", MUTE, **VISITOR, **ACT, Cookie=f"pilotlamp_visit_{served.server.port}={forged}").status == 403
    )


def test_a_changed_cookie_and_one_of_another_run_open_nothing(served):
    good = served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR, **ACT).getheader("Set-Cookie").split(";")[0]
    name, text = good.split("=", 1)
    changed = ("1" if text[0] == "0" else "0") + text[1:]
    for wrong in (changed, Visits().begin()):
        assert served.ask("POST", "/act", MUTE, **VISITOR, **ACT, Cookie=f"{name}={wrong}").status == 403


def test_the_link_works_once(served):
    secret = served.server.invitation().split("#")[1]
    assert served.ask("POST", "/enter", {"secret": secret + "x"}, **VISITOR, **ACT).status == 403
    assert served.ask("POST", "/enter", {"secret": secret}, **VISITOR, **ACT).status == 200
    assert served.ask("POST", "/enter", {"secret": secret}, **VISITOR, **ACT).status == 403


def test_the_link_works_for_one_of_many_at_once(served):
    secret = {"secret": served.server.invitation().split("#")[1]}
    with ThreadPoolExecutor(12) as many:
        statuses = list(many.map(lambda _: served.ask("POST", "/enter", secret, **ACT).status, range(12)))
    assert sorted(statuses) == [200] + [403] * 11


def test_leaving_takes_the_pages_own_header(served):
    entered = served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR, **ACT)
    assert served.ask("POST", "/leave", {}, **VISITOR, Cookie=cookie(entered)).status == 403
    assert served.ask("POST", "/act", MUTE, **VISITOR, **ACT, Cookie=cookie(entered)).status == 200


def test_wrong_tries_of_strangers_hold_up_neither_the_link_nor_this_computer(served):
    for _ in range(FREE_TRIES + 2):
        served.ask("POST", "/enter", {"passphrase": "wrong"}, **VISITOR, **ACT)
    assert served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR, **ACT).status == 429
    assert served.ask("POST", "/enter", {"passphrase": WORDS}, **ACT).status == 200
    secret = served.server.invitation().split("#")[1]
    assert served.ask("POST", "/enter", {"secret": secret}, **VISITOR, **ACT).status == 200


def test_right_entries_calm_the_count_of_all():
    throttle = LoginThrottle(lambda: 0.0)
    for k in range(FREE_TRIES_OF_ALL + 5):
        throttle.wrong(f"192.0.2.{k}")
    assert throttle.wait_s("198.51.100.1") > 0
    assert throttle.wait_s("198.51.100.1", alone=True) == 0
    throttle.right("198.51.100.2")
    assert throttle.wait_s("198.51.100.1") == 0


def test_visits_and_invitations_end_by_themselves():
    now = [0.0]
    visits = Visits(lambda: now[0])
    visit, third, second, secret = visits.begin(), *(visits.invite() for _ in range(3))
    assert not visits.accept(third)
    assert visits.accept(second)
    now[0] = INVITATION_LASTS_S
    assert not visits.accept(secret)
    assert visits.known(visit)
    now[0] = VISIT_LASTS_S
    assert not visits.known(visit)


@pytest.fixture
def still(monkeypatch):
    """Time stands still at the door: on a slow machine the first waits would be over before the last guess comes."""
    monkeypatch.setattr("dashboard.login_routes.time", SimpleNamespace(monotonic=lambda: 1000.0))


def test_guesses_at_once_are_slowed_and_logged_and_not_repeated_in_the_log(still, served, caplog):
    with caplog.at_level(logging.WARNING), ThreadPoolExecutor(12) as many:
        guesses = [{"passphrase": f"guess number {k}"} for k in range(12)]
        statuses = list(many.map(lambda guess: served.ask("POST", "/enter", guess, **VISITOR, **ACT).status, guesses))
    assert statuses.count(403) == FREE_TRIES
    assert statuses.count(429) == 12 - FREE_TRIES
    assert "wrong try number 3" in caplog.text
    assert "guess number" not in caplog.text
    assert served.ask("POST", "/enter", {"passphrase": WORDS}, **VISITOR, **ACT).status == 429


def test_waits_grow_to_a_limit_and_many_addresses_do_not_help():
    now = [0.0]
    tries = LoginThrottle(lambda: now[0])
    waits = []
    for _ in range(14):
        tries.wrong("a")
        waits.append(tries.wait_s("a"))
    assert waits[:5] == [0, 0, 2, 4, 8]
    assert waits[-1] == LONGEST_WAIT_S
    assert tries.wait_s("b") == 0
    for k in range(FREE_TRIES_OF_ALL):
        tries.wrong(f"192.0.2.{k}")
    assert tries.wait_s("b") > 0


def test_the_passphrase_is_kept_as_an_argon2id_hash_that_only_its_owner_reads(served):
    path = served.passphrase.path
    assert path.read_text().startswith("$argon2id$v=19$m=65536,t=3,p=4$")  # second choice of RFC 9106, section 4
    assert WORDS not in path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(PageError, match="characters"):
        served.passphrase.keep("short")
    path.write_bytes(b"\xff damaged")
    assert not served.passphrase.matches(WORDS)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Host": "elsewhere.example"},
        {"Host": "127.0.0.1.elsewhere.example"},
        {"Host": "[::1"},
        {"Host": "127.0.0.1@elsewhere.example"},
    ],
)
def test_other_sites_and_names_that_point_here_get_nothing(served, headers):
    for path in ("/act", "/bench", "/enter", "/_dash-update-component"):
        assert served.ask("POST", path, MUTE, **{**ACT, **headers}).status in (400, 403)
    assert served.hall.operated == []


def test_nothing_is_said_to_other_sites_that_ask_first(served):
    answer = served.ask("OPTIONS", "/act", Origin="http://elsewhere.example", Access_Control_Request_Method="POST")
    assert [name for name, _ in answer.getheaders() if name.lower().startswith("access-control-allow")] == []


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../access.py", "/assets/..%2faccess.py", "/assets/%2e%2e/access.py", "/assets/..%5caccess.py",
        "/assets//etc/passwd", "/assets/%2fetc%2fpasswd", "/../../etc/passwd", "/_dash-component-suites/dash/../../../etc/passwd",
        "/_dash-component-suites/dash/%2e%2e/dash.py", "/_dash-component-suites/os/os.py", "/_reload-hash",
        "/stalls/event-1.%2e%2e%2fpasswd", "/district?name=../../../../etc/passwd", "/feed/district?name=../../etc/passwd",
        "/console", "/?__debugger__=yes&cmd=resource&f=debugger.js", "/assets/a%00b",
    ],
)  # fmt: skip
def test_no_path_from_outside_reaches_the_disk_and_there_is_no_console(served, path):
    answer = served.ask("GET", path)
    for given_away in ("root:", "class Gate", "import ", "Werkzeug", "Traceback", "EVALEX"):
        assert given_away not in answer.text
    assert answer.getheader("Server") is None


def test_every_answer_carries_the_headers_and_scripts_run_from_here_only(served):
    for path in ("/", "/enter", "/nowhere", "/feed/now", "/assets/10_feed.js"):
        headers = served.ask("GET", path).headers
        rules = dict(rule.strip().split(" ", 1) for rule in headers["Content-Security-Policy"].split(";"))
        assert "unsafe" not in rules["script-src"], path
        assert (rules["object-src"], rules["frame-ancestors"], rules["form-action"]) == ("'none'",) * 3
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.sampled_from(["/act", "/bench", "/learn", "/candidate", "/terminals", "/set-aside", "/enter", "/leave"]),
    body=st.binary(max_size=6000),
)
def test_no_body_breaks_an_address(acting, path, body):
    answer = acting.ask("POST", path, body, **ACT)
    assert answer.status < 500
    assert "Traceback" not in answer.text


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sent=st.binary(max_size=300))
def test_no_bytes_break_the_server(served, sent):
    assert b"Traceback" not in served.raw(b"GET /" + sent + b"\r\n\r\n")
    assert served.ask("GET", "/feed/now").status == 200


def test_what_a_visitor_sends_fills_neither_the_memory_nor_the_log(served, caplog):
    """A megabyte of empty lists would be 25 MB of objects (CPython: 56 bytes a list, 8 its place)."""
    how = {"Content-Type": "application/json", **VISITOR}
    for path in ("/_dash-update-component", "/enter", "/act"):
        assert served.ask("POST", path, b"[" + b"[]," * 60_000 + b"[]]", **how).status == 413
    served.ask("POST", "/_dash-update-component", {"output": "x" * 100_000}, **how)
    assert "an answer to '/_dash-update-component' failed" in caplog.text
    assert len(caplog.text) < 20_000


@pytest.mark.browser
def test_a_tablet_enters_by_the_link_and_the_secret_leaves_the_address_bar(served, browser):
    context = browser.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    try:
        page.goto(f"http://127.0.0.1:{served.server.port}/enter#{served.server.invitation().split('#')[1]}")
        page.wait_for_url(f"http://127.0.0.1:{served.server.port}/")
        assert [kept["httpOnly"] for kept in context.cookies()] == [True]
    finally:
        context.close()


def test_the_command_keeps_a_passphrase_and_a_shared_demo_shows_its_link(tmp_path):
    kept = tmp_path / "kept"
    setting = pilotlamp("passphrase", "--file", kept, cwd=tmp_path, stdin=-1)
    out, err = setting.communicate(f"{WORDS}\n", timeout=240)
    assert setting.returncode == 0, err
    assert WORDS not in out + err
    assert Passphrase(kept).matches(WORDS)
    code, out, _ = ended(
        "demo", "--share", "--no-record", "--web-port", 0, "--seconds", 1, "--passphrase-file", kept, cwd=tmp_path
    )
    assert code == 0
    assert "/enter#" in out
    assert "█" in out or "▀" in out
