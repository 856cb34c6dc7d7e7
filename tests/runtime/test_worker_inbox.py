import threading

from hypothesis import given
from hypothesis import strategies as st

from monitor.runtime.worker import Inbox
from monitor.values import Action, Chunk


def chunk(data=b"x", at_s=1.0):
    return Chunk(data=data, received_s=at_s)


def test_letters_come_in_order_and_none_after_the_last():
    inbox = Inbox()
    mark = Action(kind="mark", at_s=1.0, text="cleaned rails")
    assert inbox.put("a", chunk(b"1"))
    inbox.operate(mark)
    assert inbox.put("b", chunk(b"2"))
    assert inbox.take(0) == ("a", chunk(b"1"))
    assert inbox.take(0) == mark
    assert inbox.take(0) == ("b", chunk(b"2"))
    assert inbox.take(0) is None


@given(st.lists(st.binary(max_size=400), max_size=60))
def test_what_waits_never_passes_the_limit_and_what_is_dropped_is_counted(pieces):
    inbox = Inbox(limit_bytes=5000)
    taken = [data for data in pieces if inbox.put("a", chunk(data))]
    left = b""
    while (letter := inbox.take(0)) is not None:
        left += letter[1].data
    assert left == b"".join(taken)
    assert len(left) <= 5000
    assert inbox.dropped_bytes == sum(map(len, pieces)) - len(left)
    assert inbox.put("a", chunk(b"y" * 400))


def test_actions_are_never_dropped():
    inbox = Inbox(limit_bytes=0)
    assert not inbox.put("a", chunk())
    for k in range(100):
        inbox.operate(Action(kind="mark", at_s=float(k)))
    assert [inbox.take(0).at_s for _ in range(100)] == [float(k) for k in range(100)]


def test_taking_waits_for_what_comes():
    inbox = Inbox()
    threading.Timer(0.05, inbox.put, ("a", chunk())).start()
    assert inbox.take(60.0) == ("a", chunk())


def test_chunks_that_wait_are_joined_by_port_and_actions_stay_where_they_were():
    inbox = Inbox()
    mark = Action(kind="mark", at_s=1.15)
    for port, data, at_s in (("a", b"1", 1.0), ("b", b"x", 1.01), ("a", b"", 1.02), ("a", b"2", 1.1), ("b", b"y", 1.11)):
        inbox.put(port, chunk(data, at_s))
    inbox.operate(mark)
    inbox.put("a", chunk(b"3", 1.2))
    inbox.put("a", Chunk(data=b"4", received_s=1.3, reopened=True))
    inbox.put("a", chunk(b"5", 1.4))
    inbox.put("a", chunk(b"6", 2.0))
    assert inbox.take(0) == ("a", chunk(b"12", 1.1))
    assert inbox.take(0) == ("b", chunk(b"xy", 1.11))
    assert inbox.take(0) == mark
    assert inbox.take(0) == ("a", chunk(b"3", 1.2))
    assert inbox.take(0) == ("a", Chunk(data=b"45", received_s=1.4, reopened=True))
    assert inbox.take(0) == ("a", chunk(b"6", 2.0))
    assert inbox.take(0) is None
    assert inbox._bytes == 0
