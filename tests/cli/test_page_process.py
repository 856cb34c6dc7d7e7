"""The pages of a running watch live in a process of their own: whatever becomes of them, watching and recording go on."""

import contextlib
import http.client
import json
import os
import signal
import socket
import time
from urllib.parse import urlsplit

import psutil
import pytest

from monitor.sessions import find_sessions
from tests.cli.test_watch import PLAIN, pilotlamp
from tests.link.plugs import Plug, TalkingBoard, until


@pytest.fixture
def watched(tmp_path):
    """A watch of a talking board with a page; gives its process and the link that lets this computer act."""
    (tmp_path / "layout.toml").write_text(PLAIN)
    plug = Plug(tmp_path / "usb")
    board = TalkingBoard(plug)
    arguments = ("watch", "layout.toml", "--port", f"bench-1={plug.device}", "--web-port", 0, "--log", "watch.log")
    process = pilotlamp(*arguments, cwd=tmp_path)
    yield process, next(line.strip() for line in process.stdout if "/enter#" in line)
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=120)
    board.stop()
    plug.pull_out()


def page_of(process, but=0):
    for child in psutil.Process(process.pid).children():
        with contextlib.suppress(psutil.Error):  # one that is just ending has no command line any more
            if "--multiprocessing-fork" in child.cmdline() and child.pid != but:
                return child
    return None


def ask(link, method, path, what=None, cookie=""):
    """Status, text and cookie; None while the page is away."""
    connection = http.client.HTTPConnection(urlsplit(link).netloc, timeout=60)
    try:
        connection.request(
            method, f"/{path}", None if what is None else json.dumps(what), {"X-Pilotlamp": "act", "Cookie": cookie}
        )
        answer = connection.getresponse()
        return answer.status, answer.read().decode(), answer.getheader("Set-Cookie")
    except (OSError, http.client.HTTPException):
        return None
    finally:
        connection.close()


def get(link, path):
    status, text, _ = ask(link, "GET", path) or (0, "", None)
    return json.loads(text) if status == 200 else None


def act(link, what):
    _, _, cookie = ask(link, "POST", "enter", {"secret": urlsplit(link).fragment})
    return ask(link, "POST", "act", what, cookie)[0]


def test_figures_reach_the_page_and_what_operators_do_reaches_the_recording(watched, tmp_path):
    process, link = watched
    parts = until(lambda: (get(link, "healthz") or {}).get("parts"))
    assert {part["name"] for part in parts} >= {"pipeline", "recorder", "supervisor"}
    assert until(lambda: (get(link, "feed/now") or {}).get("districts", [{}])[0].get("volts"))
    assert act(link, {"kind": "mark", "text": "the train passes the station"}) == 200
    session = until(lambda: next(find_sessions(tmp_path / "recordings"), None))
    until(lambda: session.notices("actions").is_file() and "the train passes" in session.notices("actions").read_text())
    page = page_of(process)
    assert page.nice() > psutil.Process(process.pid).nice()
    assert psutil.Process(process.pid).num_threads() <= 30


def test_a_page_that_dies_is_started_again_at_its_address_and_knows_what_it_knew(watched, tmp_path):
    process, link = watched
    until(lambda: get(link, "healthz"))
    assert act(link, {"kind": "mute", "minutes": 5}) == 200
    until(lambda: (get(link, "feed/now") or {}).get("muted_s"))
    first = page_of(process)
    first.kill()
    until(lambda: page_of(process, but=first.pid))
    assert until(lambda: (get(link, "feed/now") or {}).get("muted_s"))
    assert process.poll() is None
    assert "page's process ended" in (tmp_path / "watch.log").read_text()


def test_the_page_ends_with_a_watch_that_is_killed(watched):
    process, _ = watched
    page = page_of(process)
    os.kill(process.pid, signal.SIGKILL)
    page.wait(60)


def test_a_page_that_hangs_holds_up_no_recording(watched, tmp_path):
    process, link = watched
    until(lambda: get(link, "healthz"))
    session = until(lambda: next(find_sessions(tmp_path / "recordings"), None))
    page = page_of(process)
    page.suspend()
    before = sum(path.stat().st_size for path in session.raw.iterdir())
    time.sleep(3.0)
    assert sum(path.stat().st_size for path in session.raw.iterdir()) > before + 3_000
    page.resume()
    assert until(lambda: get(link, "healthz"))["status"] == "well"


def test_a_taken_port_is_one_sentence_of_the_watch(tmp_path):
    (tmp_path / "layout.toml").write_text(PLAIN)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        process = pilotlamp("watch", "layout.toml", "--web-port", taken.getsockname()[1], cwd=tmp_path)
        _, err = process.communicate(timeout=120)
    assert process.returncode == 2
    assert "another program may use that port" in err
