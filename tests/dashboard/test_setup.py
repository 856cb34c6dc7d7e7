"""The set-up's address: what is typed is kept at once, the file is written whole, and nothing else can be reached from there.

Oracles: the files on the disk, read by the layout's own loader; the gate's rules as the page documents them.
"""

import msgspec
import pytest

from dashboard.setup_routes import PORT, SetupPage, SetupRequest
from monitor.errors import LayoutError
from monitor.layout import Layout, Mains, load_layout, parse_layout
from monitor.setup.desk_words import SetupView
from monitor.setup.draft import load_draft
from monitor.setup.port_tap import PortTap
from tests.layout.fernhollow import FERNHOLLOW
from tests.setup.test_port_tap import packed

ANSWERS = {
    "title": "Fernhollow show layout", "mains.volts": "120", "mains.hertz": "60", "supply.0.name": "North bench", "supply.0.current": "ac",
    "supply.0.rated": "180 VA", "supply.0.max_volts": "18", "supply.0.side": "output", "supply.0.input_volts": "", "supply.0.input_hertz": "",
    "supply.0.protection": "unknown", "supply.0.outputs": "1", "supply.0.output.0.name": "A", "supply.0.output.0.throttle": "yes",
    "supply.0.bench.cord": "cracked", "supply.0.more": "no", "pair.bench-1.1.name": "Outer main", "pair.bench-1.1.output": "North bench / A",
    "pair.bench-1.1.use": "track", "pair.bench-1.2.name": "-", "calibrate": "no",
}  # fmt: skip


class FakeWatch:
    def __init__(self, path, layout=None, port="usb"):
        self.layout, self.layout_path = layout or Layout(title="Set up", mains=Mains(volts=120, hertz=60)), path
        self.tap, self.orders = PortTap(port, 500_000), []
        self.tap.feed(packed(2.5), 2.5)

    def setup_view(self):
        return SetupView(ports=(self.tap.view(2.6, "a board"),), path=self.layout_path)

    def tell(self, order):
        self.orders.append((order.kind, order.port))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "layout.toml"


def through(page, answers=ANSWERS):
    """Answer card after card as a browser does: what a card shows and nobody changes goes along."""
    state = page.answer(SetupRequest(answers={"boards": "yes"}, card="boards", move="next"))
    for _ in range(30):
        if state["card"] == "write":
            return state
        typed = {field["key"]: answers.get(field["key"], field["value"]) for field in state["fields"]}
        before = state["card"]
        state = page.answer(SetupRequest(answers=typed, card=before, move="next"))
        assert state["card"] != before, state["fields"]
    raise AssertionError(state)


def test_answers_become_the_file_and_the_watch_is_told(path):
    watch = FakeWatch(path)
    page = SetupPage(watch)
    state = through(page)
    assert any("Do not switch North bench on yet" in words for words in state["warnings"])
    assert page.answer(SetupRequest(order="write", card="write"))["done"] == "Written to layout.toml. Watching by it begins."
    layout = load_layout(path)
    assert (layout.board[0].port, layout.supply[0].condition.cord) == ("usb", "cracked")
    assert [(district.name, district.volts_channel) for district in layout.district] == [("Outer main", 0)]
    assert watch.orders[-1] == ("watch", "")
    assert load_draft(path).answers == {}


def test_what_is_typed_is_kept_be_it_right_or_wrong_and_gone_on_with(path):
    SetupPage(FakeWatch(path)).answer(SetupRequest(answers={"boards": "yes"}, card="boards", move="next"))
    slip = SetupRequest(answers={"title": "Mine", "mains.volts": "twelve"}, card="layout", move="next")
    state = SetupPage(FakeWatch(path)).answer(slip)
    assert state["card"] == "layout"
    again = SetupPage(FakeWatch(path)).answer(SetupRequest())
    fields = {field["key"]: field for field in again["fields"]}
    assert (fields["title"]["value"], fields["mains.volts"]["value"]) == ("Mine", "twelve")
    assert "That is no figure" in fields["mains.volts"]["complaint"]
    assert SetupPage(FakeWatch(path)).answer(SetupRequest(order="forget"))["card"] == "boards"
    assert load_draft(path).answers == {}


def test_nothing_is_written_before_everything_is_answered(path):
    with pytest.raises(LayoutError, match="still open"):
        SetupPage(FakeWatch(path)).answer(SetupRequest(order="write"))
    assert not path.exists()


def test_back_and_any_card_can_be_reached_and_forwards_leads_to_what_is_open(path):
    page = SetupPage(FakeWatch(path))
    through(page)
    assert page.answer(SetupRequest(card="calibrate", move="back"))["card"] == "pair.bench-1.2"
    assert page.answer(SetupRequest(card="layout"))["card"] == "layout"
    assert page.answer(SetupRequest(card="layout", move="next"))["card"] == "supply.0.plate"
    # A name used twice since opens both its card and what depends on it.
    page.answer(SetupRequest(answers={"pair.bench-1.2.name": "Outer main"}, card="pair.bench-1.2"))
    assert page.answer(SetupRequest(card="layout", move="next"))["card"] == "pair.bench-1.2"


def test_a_board_that_is_plugged_in_elsewhere_is_followed(path):
    through(SetupPage(FakeWatch(path)))
    SetupPage(FakeWatch(path, port="other")).answer(SetupRequest(order="write", card="write"))
    assert [(board.name, board.port) for board in load_layout(path).board] == [("bench-1", "other")]


def test_a_change_keeps_the_file_as_it_was(path):
    path.write_text(FERNHOLLOW.replace("/dev/ttyUSB0", "usb"))
    before = path.read_text()
    watch = FakeWatch(path, load_layout(path))
    page = SetupPage(watch)
    page.answer(SetupRequest(answers={"change": "protection"}, card="change", move="next"))
    fuse = {"fuse.supply": "North bench", "fuse.kind": "fuse", "fuse.amps": "6.3 A"}
    state = page.answer(SetupRequest(answers=fuse, card="fuse", move="next"))
    assert (state["card"], state["forwards"]) == ("write", "Write the change")
    assert "kept as layout.toml.before" in page.answer(SetupRequest(order="write"))["done"]
    assert load_layout(path).supply[0].protection.rated_amps == 6.3
    assert path.with_name("layout.toml.before").read_text() == before
    assert parse_layout(before).board == load_layout(path).board


@pytest.mark.parametrize(
    ("port", "may"),
    [
        ("/dev/ttyUSB0", True), ("COM3", True), ("socket://10.0.0.7:3000", True), ("hwgrep://USB", True),
        ("spy:///dev/ttyS0?file=/etc/x", False), ("loop://", False), ("alt://x?class=y", False), ("usb", False), ("", False),
    ],
)  # fmt: skip
def test_only_ports_that_read_may_be_typed(path, port, may):
    assert bool(PORT.fullmatch(port)) is may
    watch = FakeWatch(path)
    if may:
        SetupPage(watch).answer(SetupRequest(order="port", port=port))
        assert ("port", port) in watch.orders
    else:
        with pytest.raises(LayoutError, match="that is no port"):
            SetupPage(watch).answer(SetupRequest(order="port", port=port))
        assert watch.orders == []


def test_a_request_of_another_shape_is_refused():
    for body in (b"[]", b'{"order": "erase"}', b'{"answers": {"title": 3}}', b'{"path": "/etc/passwd"}'):
        with pytest.raises(msgspec.MsgspecError):
            msgspec.json.decode(body, type=SetupRequest)
