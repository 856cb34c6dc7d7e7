"""Joining changes how bytes are cut, and nothing else."""

import itertools
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.sessions import Played
from monitor.sessions.merging import ListedChunk, Merger
from monitor.sessions.playback import STEPS_HEAD, parsed_log
from monitor.values import Action, Chunk, JoinedChunk

PORTS = ("", "/dev/ttyUSB0", "/dev/ttyUSB1")
steps = st.lists(
    st.tuples(
        st.sampled_from(PORTS),
        st.one_of(
            st.just(b""), st.binary(max_size=6), st.sampled_from([b"r,1,0,15.0\n", b"b,x,4,200\nr,", b"\x03ab\0", b"cd\0\0e"])
        ),
        st.floats(0, 3) | st.just(0.2) | st.just(100.0),
        st.integers(0, 29),
    ),
    max_size=120,
)


def as_played(rows):
    """Chunks in order of time; one in thirty was reopened, one has an action before it, one came nobody knows when."""
    at_s, played = 5.0, []
    for port, data, hop_s, luck in rows:
        at_s += hop_s
        chunk = Chunk(data=data if port else b"", received_s=None if luck == 2 else at_s, reopened=luck == 0)
        actions = (Action(kind="mark", at_s=at_s, text=str(len(played))),) if luck == 1 else ()
        played.append(Played(port=port, chunk=chunk, actions=actions))
    return played


def pieces(chunks):
    """Chunks with bytes, taken apart as they came."""
    for port, chunk in chunks:
        for piece in chunk.pieces() if isinstance(chunk, JoinedChunk) else [chunk]:
            if piece.data or piece.reopened:
                yield port, piece


@given(steps, st.sampled_from([0.5, 10.0, 100.0]), st.integers(1, 4))
@settings(max_examples=300, deadline=None)
def test_windows_hold_what_came_in_its_order(rows, window_s, turns):
    played = as_played(rows)
    merger = Merger(window_s)
    windows = [window for part in np.array_split(np.arange(len(played)), turns)
               for window in merger.windows(ListedChunk([played[k] for k in part.tolist()]))]  # fmt: skip
    joined = [pair for window in windows for pair in pieces(window.chunks)]
    for port in PORTS:
        came = [each.chunk for each in played if each.port == port and (each.chunk.data or each.chunk.reopened)]
        assert [chunk for name, chunk in joined if name == port] == came
    # What operators did stays between what came before it and what came after.
    done = [(sum(len(c.data) for w in windows[:k] for _, c in w.chunks), w.actions) for k, w in enumerate(windows) if w.actions]
    assert done == [(sum(len(p.chunk.data) for p in played[:k]), p.actions) for k, p in enumerate(played) if p.actions]


@given(steps, st.integers(0, 60))
@settings(max_examples=200, deadline=None)
def test_bytes_that_a_file_lost_are_missed_at_its_end_alone(rows, kept):
    """The log tells of more bytes than there are: each chunk has what is left for it."""
    played = as_played(rows)
    source = ListedChunk(played)
    source._data = [data[:kept] for data in source._data]
    joined = [pair for window in Merger(10.0).windows(source) for pair in pieces(window.chunks)]
    for port in PORTS:
        left, came = kept, []
        for chunk in (each.chunk for each in played if each.port == port):
            came.append(replace(chunk, data=chunk.data[:left]))
            left -= len(came[-1].data)
        assert [chunk for name, chunk in joined if name == port] == [chunk for chunk in came if chunk.data or chunk.reopened]


@given(steps, st.sampled_from([0.5, 10.0, 100.0]))
@settings(max_examples=300, deadline=None)
def test_windows_end_where_their_time_does(rows, window_s):
    played = as_played(rows)
    place, reached_s = 0, 0.0
    for window in Merger(window_s).windows(ListedChunk(played)):
        came_s = [chunk.received_s for _, chunk in window.chunks]
        assert all(chunk.received_s == chunk.came_s[-1] for _, chunk in window.chunks if isinstance(chunk, JoinedChunk))
        assert not any(chunk.reopened for _, chunk in window.chunks) or len(window.chunks) == 1
        if None in came_s:
            assert len(came_s) == 1
            continue
        assert max(came_s) >= reached_s
        assert max(came_s) - min(each.chunk.received_s for each in played[place:] if each.chunk.received_s is not None) >= 0
        reached_s = max(came_s)
    known = [each.chunk.received_s for each in played if each.chunk.received_s is not None]
    assert reached_s == max(known, default=0.0)


def test_windows_are_short_at_first_and_even_later():
    """Half as long as the stream is, up to the window; then 300 s are five times 60 s."""
    played = [Played(port="p", chunk=Chunk(data=b"r,1\n", received_s=0.2 * k)) for k in range(6000)]
    merger = Merger(60.0)
    sizes = [sum(len(list(pieces([pair]))) for pair in window.chunks) for window in merger.windows(ListedChunk(played))]
    assert sizes[:4] == [1, 1, 2, 3]
    assert all(after <= 1.5 * before + 2 for before, after in itertools.pairwise(sizes))
    again = [Played(port="p", chunk=Chunk(data=b"r,1\n", received_s=1200 + 0.2 * k)) for k in range(1500)]
    sizes = [sum(len(list(pieces([pair]))) for pair in window.chunks) for window in merger.windows(ListedChunk(again))]
    assert sizes == [300] * 5


def test_waveforms_are_cut_behind_the_least_delayed_chunk():
    """Every chunk is 20 ms late but one in each ten seconds, and one in three ends amid a packet."""
    packets = b"".join(bytes([1, 2, 3, 4, 5, 6, 7, 0]) for _ in range(300))
    ends = [8 * k - 3 * (k % 3 == 2) for k in range(1, 301)]
    early = [20, 69, 120, 165, 222, 270]
    played = [
        Played(port="p", chunk=Chunk(data=packets[begin:end], received_s=0.2 * k + (0 if k in early else 0.02)))
        for k, (begin, end) in enumerate(zip([0, *ends[:-1]], ends, strict=True))
    ]
    merger = Merger(100.0)
    list(merger.windows(ListedChunk([Played(port="p", chunk=Chunk(data=b"\0", received_s=-1000.0))])))
    (window,) = merger.windows(ListedChunk(played))
    assert [round((chunk.received_s or 0) / 0.2, 3) for _, chunk in window.chunks] == [*early, 299.1]
    assert [chunk.is_prompt for _, chunk in window.chunks] == [True] * 6 + [False]


line = st.one_of(
    st.sampled_from(
        [STEPS_HEAD[:-1], b"", b"1,2,3", b"1,2,3,4.5,1,6", b"7,1,-3,2.5,", b"8,1,1_0,nan,1", b"9,1,5,inf,", b"9,1,5,1e5,1\r"]
    ),
    st.tuples(
        st.integers(-3, 2**70), st.integers(0, 9), st.integers(-2, 10**6), st.floats(0, 1e6), st.sampled_from(["", "1", "0"])
    ).map(lambda row: ",".join(map(str, row)).encode()),
    st.text("0123456789,.e+- \n", max_size=20).map(str.encode),
)


@given(st.lists(line, max_size=20), st.booleans(), st.booleans())
@settings(max_examples=500, deadline=None)
def test_a_chunk_log_is_read_alike_at_once_and_line_by_line(lines, headed, ended):
    text = (STEPS_HEAD if headed else b"") + b"\n".join(lines) + (b"\n" if ended else b"")
    log = parsed_log(text)
    # The same lines one by one: with a broken line beside each, none is read at once.
    alone = [parsed_log(each + b"\nbroken\n") for each in text[: text.rfind(b"\n") + 1].split(b"\n")]
    for name in ("steps", "ports", "sizes", "received_s", "reopened"):
        np.testing.assert_array_equal(getattr(log, name), np.concatenate([getattr(each, name) for each in alone]))
    assert (log.sizes >= 0).all()
