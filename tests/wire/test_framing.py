from hypothesis import given
from hypothesis import strategies as st

from monitor.wire.framing import Framer

LIMIT = 10
frame_lengths = st.lists(st.sampled_from([0, 1, LIMIT - 1, LIMIT, LIMIT + 1, 2 * LIMIT, 2 * LIMIT + 1, 5 * LIMIT]), max_size=6)


def frames_of(data, sizes):
    """For each frame: its content, None where it is longer than the limit; where it ends in the stream; its length."""
    framer = Framer(delimiter=b"\0", limit_bytes=LIMIT)
    out, start = [], 0
    for size in [*sizes, len(data)]:
        text, position, skipped_bytes = framer.feed(data[start : start + size])
        start += size
        for part in text.split(b"\0")[:-1]:
            position += len(part) + 1
            length = len(part) + skipped_bytes
            skipped_bytes = 0
            out += [(part if length <= LIMIT else None, position, length)] if length else []
    return out


@given(frame_lengths, st.lists(st.integers(1, 4), max_size=300))
def test_chunking_never_changes_frames(lengths, sizes):
    data = b"".join(bytes([65 + k]) * length + b"\0" for k, length in enumerate(lengths))
    assert frames_of(data, sizes) == frames_of(data, []) == frames_of(data, [1] * len(data))


def test_an_over_long_frame_is_dropped_up_to_its_delimiter_even_byte_by_byte():
    # The classic fault: a buffer trimmed to its limit turns the tail of a long frame into a plausible short one.
    data = b"x" * (LIMIT * 2 + 3) + b"\0good\0"
    expected = [(None, 24, 23), (b"good", 29, 4)]
    assert frames_of(data, []) == expected
    assert frames_of(data, [1] * len(data)) == expected


def test_an_unfinished_frame_never_grows_beyond_the_limit_in_memory():
    framer = Framer(delimiter=b"\0", limit_bytes=LIMIT)
    for _ in range(1000):
        framer.feed(b"x" * 7)
    assert framer._skipped_bytes + len(framer._tail) == 7000
    assert len(framer._tail) <= LIMIT
