"""What joined lines tell of when each reading came, against the very lines."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.runtime.port_stage import PortItems, readings_with
from monitor.values import Identity, JoinedChunk, LineReadings
from monitor.wire import WireDecoder
from tests.wire.bytestreams import flat

whole = [b"r,100,0,15.0,3.0\n", b"r,100,1,12.0,1.0\r\n", b"b,x,2,200\n", b"# so\n", b"\n"]
lines = st.lists(st.sampled_from(whole), min_size=1, max_size=30)
hurt_lines = st.lists(
    st.sampled_from([*whole, b"r,100,x,1,1\n", b"\xff\xfe\n", b"r" * 200 + b"\n", b"r,1,2,3.0*00\n"]), min_size=1, max_size=30
)


def joined(data, cuts):
    ends = np.array(sorted({*(cut % len(data) + 1 for cut in cuts), len(data)}))
    return JoinedChunk(data=data, received_s=float(len(ends)), ends=ends, came_s=np.arange(1.0, len(ends) + 1))


def started(head):
    decoder, flow = WireDecoder(), PortItems()
    flow.gathered(decoder.feed(b"b,x,2,200\nr,0,0,1,1\n" + head))
    return decoder, flow


@given(st.sampled_from([b"", b"r,100,0,1", b"b,x,2", b"r,100,?"]), hurt_lines, st.lists(st.integers(0, 10**6), max_size=12))
@settings(max_examples=500, deadline=None)
def test_readings_that_had_come_with_each_piece(head, made, cuts):
    """Whatever the chunk before had left behind, and damaged lines among them: the reference feeds a decoder piece by piece."""
    tail = {b"": b"", b"r,100,0,1": b",1\n", b"b,x,2": b",200\n", b"r,100,?": b"1,1,1\n"}[head]
    chunk = joined(tail + b"".join(made), cuts)
    decoder, flow = started(head)
    offset = decoder.offset
    counts = readings_with(chunk, flow.gathered(decoder.feed(chunk.data)), offset)
    slow, _ = started(head)
    came = [
        sum(len(item.times_ms) for item in slow.feed(piece.data) if isinstance(item, LineReadings)) for piece in chunk.pieces()
    ]
    assert (counts is None) == (not sum(came))
    assert counts is None or counts.tolist() == np.cumsum(came).tolist()


@given(lines, st.lists(st.integers(0, 10**6), max_size=12))
@settings(max_examples=100, deadline=None)
def test_who_a_board_is_over_and_over_is_taken_once(made, cuts):
    """Nothing else is lost or changed."""
    data = b"".join(made)
    plain = WireDecoder().feed(b"b,x,2,200\nr,0,0,1,1\n" + data)
    decoder, flow = started(b"")
    items = flow.gathered(decoder.feed(data))
    kept = [item for item in flat(plain) if not isinstance(item, Identity)][1:]
    assert [item for item in flat(items) if not isinstance(item, Identity)] == kept
    assert sum(isinstance(item, Identity) for item in items) == (b"b,x,2,200\n" in made)
    assert sum(isinstance(item, LineReadings) for item in items) == any(line[:1] == b"r" for line in made)


def test_numbers_that_fall_back_are_seen():
    flow = PortItems()
    for times, fell in (
        ([100, 100, 300], False),
        ([200, 400, 600], False),
        ([90000], False),
        ([200, 400], True),
        ([600, 0], False),
        ([9000, 400], True),
    ):
        data = b"".join(b"r,%d,0,1.0,1.0\n" % time for time in times)
        flow.gathered(WireDecoder().feed(data))
        assert flow.fell_back == fell, times
