import pytest

from monitor.errors import LinkLostError, LinkUnavailableError
from monitor.runtime.port_record import PortRecord
from monitor.runtime.reader import PROBE_PAUSE_S, PortReader
from monitor.runtime.worker import Inbox
from tests.runtime.fake_source import FakeSource, InstantStop
from tests.runtime.streams import plain_layout
from tests.wire.bytestreams import identity, identity_packet

PORT = "/dev/ttyUSB0"


def read_all(script, record=None, inbox=None):
    stop = InstantStop()
    source = FakeSource(script, stop)
    stop.source = source
    record = record or PortRecord(PORT, plain_layout(), 500_000)
    inbox = inbox or Inbox(joined_within_s=-1.0)
    PortReader(record, source, inbox=inbox, now_s=source.now_s, baud=500_000).work(stop)
    letters = []
    while (letter := inbox.take(0)) is not None:
        letters.append(letter[1])
    return source, record.status(), letters


def test_data_is_passed_on_as_it_came_and_silence_as_ticks():
    source, status, letters = read_all([b"one", b"", b"two", *[b""] * 10])
    assert [letter.data for letter in letters if letter.data] == [b"one", b"two"]
    assert [letter.received_s for letter in letters if letter.data] == [pytest.approx(0.02), pytest.approx(0.06)]
    # One tick each 100 ms of the 200 ms of silence, not one a read.
    assert 1 <= sum(not letter.data for letter in letters) <= 3
    assert (status.bytes, status.last_data_s) == (6, pytest.approx(0.06))
    assert source.closed >= 1


def test_a_port_that_comes_back_is_marked_once_on_its_first_data():
    source, _status, letters = read_all([b"one", LinkLostError, b"", b"two", b"three"])
    assert source.opened == 2
    assert [(letter.data, letter.reopened) for letter in letters if letter.data] == [
        (b"one", False),
        (b"two", True),
        (b"three", False),
    ]


def test_a_missing_port_is_tried_again_and_again_while_time_goes_on():
    _source, _status, letters = read_all([*[LinkUnavailableError] * 6, b"hello"])
    # 0.25 + 0.5 + 1 + 2 + 2 + 2 s of back-off, ticking ten times a second.
    assert letters[-1].received_s == pytest.approx(7.77, abs=0.01)
    assert len(letters) > 50
    assert [letter.data for letter in letters if letter.data] == [b"hello"]
    assert [letter for letter in letters if letter.reopened] == []


def test_states_of_a_port_that_is_not_there_then_silent_then_lost():
    record = PortRecord(PORT, plain_layout(), 500_000)
    seen = []
    note = lambda source: seen.append(record.status()) or b""  # noqa: E731
    read_all([LinkUnavailableError, *[note] * 150, LinkLostError, *[note] * 2], record)
    assert seen[0].state == "silent"
    assert seen[-3].sentence.startswith(f'{PORT} is open but board "bench-1" says nothing')
    record.failed(5.0, "it went away: plug it in again")
    assert (record.status().state, record.status().since_s) == ("lost", 5.0)
    assert record.status().sentence == "It went away: plug it in again. Trying again and again."


def test_what_the_inbox_cannot_take_is_marked_as_a_break():
    inbox = Inbox(limit_bytes=1000)
    _, _, letters = read_all([b"a" * 700, b"b" * 700, lambda source: [inbox.take(0) for _ in range(3)] and b"c"], inbox=inbox)
    assert inbox.dropped_bytes == 700
    assert [letter.data[:1] for letter in letters if letter.data] == [b"c"]


def nonsense(record, then):
    """The record says wrong baud once enough nonsense came; the probe finds what ``then`` sends at which rate."""

    def read(source):
        record._state = "wrong-baud"
        return b"\x91\x13" if source.baud != then else b"\0" + identity_packet(identity(channels=4))

    return read


def test_wrong_baud_is_searched_and_the_right_one_kept():
    record = PortRecord(PORT, plain_layout(), 500_000)
    read = nonsense(record, 115_200)
    source, _, letters = read_all([read] * 80, record)
    assert source.baud == 115_200
    assert [letter.reopened for letter in letters if letter.data].count(True) == 1
    assert record._baud_found == 115_200


def test_trouble_that_was_over_before_the_search_leaves_the_layouts_rate():
    record = PortRecord(PORT, plain_layout(), 500_000)

    def read(source):
        record._state = "wrong-baud"
        if source.at_s <= 0.1:
            return b"\x91\x13"
        whole.append(source.baud)
        return b"\0" + identity_packet(identity(channels=4))

    whole = []
    source, _, letters = read_all([read] * 80, record)
    assert source.baud == 500_000
    assert record._baud_found is None
    # What came at the layout's rate during the search is kept.
    assert sum(letter.data.startswith(b"\0") for letter in letters) == whole.count(500_000) > 0


def test_where_no_rate_makes_sense_the_layouts_stands_and_the_search_rests():
    record = PortRecord(PORT, plain_layout(), 500_000)
    read = nonsense(record, None)
    source, _, _letters = read_all([read] * 3000, record)
    assert source.at_s < PROBE_PAUSE_S + 5
    assert source.baud == 500_000
    assert record._baud_found is None
