"""A layout that is set up, then changed, while pilotlamp runs: as a browser would ask for it, over HTTP.

Oracles: the sine that the board sends, the recorded sessions read from the disk, and the layout file as its own loader reads it.
"""

import contextlib
import json
import signal
from urllib.parse import urlsplit

import pytest

from monitor.cli.main import main
from monitor.cli.setup_desk import Desk
from monitor.layout import load_layout
from monitor.sessions import find_sessions
from monitor.setup.desk_words import SetupOrder
from tests.cli.test_page_process import ask, get
from tests.cli.test_watch import PLAIN, pilotlamp
from tests.dashboard.test_setup import ANSWERS
from tests.link.plugs import Plug, TalkingBoard, until


class Visit:
    """A browser that entered by the link that pilotlamp printed."""

    def __init__(self, link):
        self.link = link
        _, _, self.cookie = ask(link, "POST", "enter", {"secret": urlsplit(link).fragment})

    def setup(self, **asked):
        status, text, _ = ask(self.link, "POST", "setup/state", asked, self.cookie)
        return json.loads(text) if status == 200 else {"status": status, "said": text}


@pytest.fixture
def alone(tmp_path):
    plug = Plug(tmp_path / "usb")
    board = TalkingBoard(plug)
    process = pilotlamp("watch", "--web-port", 0, cwd=tmp_path)
    yield plug, next(line.strip() for line in process.stdout if "/enter#" in line)
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=120)
    assert "Traceback" not in out + err
    board.stop()
    plug.pull_out()


def volts_shown(link):
    districts = (get(link, "feed/now") or {}).get("districts")
    shown = str(districts[0].get("volts")) if districts else ""
    return float(shown) if shown.replace(".", "").isdigit() else None


def answered(visit, answers, card=""):
    """Answer card after card until everything is."""
    state = visit.setup(card=card)
    while state["card"] != "write":
        typed = {field["key"]: answers.get(field["key"], field["value"]) for field in state["fields"]}
        before, state = state, visit.setup(answers=typed, card=state["card"], move="next")
        assert state["fields"] != before["fields"]


def test_alone_it_watches_and_without_a_page_nothing_can_be_set_up(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["watch", "--headless"]) == 2
    assert "without a page none can be set up" in capsys.readouterr().err
    monkeypatch.setattr("monitor.cli.watch.run", lambda args: 7 if args.layout is None else 0)
    assert main([]) == 7


def test_the_rehearsal_board_writes_to_a_file_of_its_own(tmp_path):
    desk = Desk(tmp_path / "layout.toml", None)
    with contextlib.closing(desk), desk.listening():
        desk.take_order(SetupOrder(kind="rehearse"))
        (board,) = until(lambda: [each.board for port in desk.view().ports for each in port.boards])
        view = desk.view()
    assert (view.is_rehearsal, view.path.name) == (True, "rehearsal.toml")
    assert len(board.pairs) == 4


def test_a_file_that_cannot_be_watched_changes_nothing(tmp_path):
    path = tmp_path / "layout.toml"
    path.write_text(PLAIN)
    layout = load_layout(path)
    desk = Desk(path, layout)
    for text, changed in (
        (PLAIN + "\nnonsense", False),
        (PLAIN.replace('cord = "sound"', 'cord = "cracked"'), False),
        (PLAIN.replace("rated_va = 180", "rated_va = 170"), True),
    ):
        path.write_text(text)
        desk.take_order(SetupOrder(kind="watch"))
        assert (desk.changed is not None) is changed
    assert desk.changed != layout


def test_set_up_then_changed_without_a_restart(alone, tmp_path):
    plug, link = alone
    assert ask(link, "POST", "setup/state", {})[0] == 403, "visitors cannot set up"
    assert not (get(link, "feed/now") or {}).get("districts")
    visit = Visit(link)
    visit.setup(order="port", port=plug.device)
    until(lambda: any(port["pairs"] for port in visit.setup()["ports"]))
    answered(visit, ANSWERS | {"boards": "yes"})
    assert "Watching by it begins" in visit.setup(order="write")["done"]
    assert until(lambda: volts_shown(link)) == pytest.approx(15.0, rel=0.02)
    # The same visit changes the layout: another fuse. The recording until then is closed whole, a new one goes on.
    until(lambda: visit.setup().get("chapter") == "A change")
    answered(visit, {"change": "protection", "fuse.supply": "North bench", "fuse.kind": "fuse", "fuse.amps": "6.3"})
    assert "kept as layout.toml.before" in visit.setup(order="write")["done"]
    until(lambda: len(list(find_sessions(tmp_path / "recordings"))) == 2)
    assert load_layout(tmp_path / "layout.toml").supply[0].protection.rated_amps == 6.3
    closed = min((tmp_path / "recordings").iterdir())
    assert json.loads((closed / "closing.json").read_text())["reason"] == "layout changed"
    assert until(lambda: volts_shown(link)) == pytest.approx(15.0, rel=0.02)
