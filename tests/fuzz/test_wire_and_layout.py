"""Hostile bytes from the port and hostile layout files. Examples are the same in every run; the command draws new ones."""

import struct

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.wire.encode import line, packet
from tests.fuzz import targets
from tests.layout.fernhollow import FERNHOLLOW

SAME = settings(max_examples=80, deadline=None, derandomize=True)

whole = st.sampled_from([0, 1, 2, 255, 832_000, 2**31, 2**32 - 1]) | st.integers(0, 2**32 - 1)
floats32 = st.floats(width=32) | st.sampled_from([0.0, -0.0, 1e-38, 3e38, float("nan"), float("inf"), 0.0703125])
odd_names = st.binary(max_size=16) | st.sampled_from([b"bench-1", b"bench-2", b"\xff\xfe", b""])


@st.composite
def packets(draw):
    """One packet, formed as it should be, that says anything."""
    kind, number, sequence = draw(st.sampled_from([1, 2, 2, 2, 3])), draw(st.sampled_from([0, 0, 0, 1, 255])), draw(whole)
    if kind == 1:
        channels = draw(st.sampled_from([0, 1, 2, 4, 4, 4, 20]))
        body = struct.pack("<BIB", draw(st.sampled_from([1, 1, 1, 2])), draw(whole), channels)
        for k in range(channels):
            body += struct.pack("<BHff", draw(st.sampled_from(b"VAVAx")), 104 * k, draw(floats32), draw(floats32))
        name = draw(odd_names)
        body += bytes([len(name)]) + name
    elif kind == 2:
        scans, channels = draw(st.integers(0, 15)), draw(st.sampled_from([1, 2, 4, 4, 4, 5]))
        values = np.random.default_rng(draw(st.integers(0, 9))).integers(-32768, 32768, (scans, channels)).astype("<i2")
        body = struct.pack("<IB", draw(whole), scans) + values.tobytes()
    else:
        body = struct.pack("<IHIB", draw(whole), draw(st.integers(0, 65535)), draw(whole), draw(st.integers(0, 255)))
    return packet(kind, number, sequence, body[:240])


figures = (
    st.integers(0, 2**32).map(str) | st.floats().map(str) | st.sampled_from(["1e400", "-1", "0x10", "١٢", "", "1_0", "nan", "+5"])
)


@st.composite
def lines(draw):
    """One line of the line form that says anything."""
    cells = draw(st.lists(figures, min_size=2, max_size=7))
    text = draw(st.sampled_from(["r", "r", "r", "b,bench-1", "#", "x"])) + "," + ",".join(cells)
    return line(text, with_checksum=draw(st.booleans()))


@given(st.lists(packets(), max_size=25), st.binary(max_size=30))
@SAME
def test_packets_that_say_anything_stop_nothing(sent, noise):
    targets.decode(b"\0" + b"".join(sent) + noise + b"\0" + b"".join(sent[::-1]))


@given(st.lists(lines(), max_size=25))
@SAME
def test_lines_that_say_anything_stop_nothing(sent):
    targets.decode(b"".join(sent))


@given(st.binary(max_size=3000))
@SAME
def test_any_bytes_stop_nothing(data):
    targets.decode(data)


scalars = (
    st.integers().map(str)
    | st.floats().map(lambda value: str(value).replace("inf", "inf"))
    | st.text(max_size=12).map(lambda text: '"' + text.replace("\\", "").replace('"', "").replace("\n", "") + '"')
    | st.sampled_from([
        "true", "[]", "[[]]", "[0, 0]", "[[1.0, 0.0]]", "{}", "1979-05-27", "-1", "0", "1e308", "nan", "inf", '""', "9" * 20,
    ])
)  # fmt: skip


@st.composite
def changed_layouts(draw):
    """Fernhollow with some of its values, lines and tables changed."""
    rows = FERNHOLLOW.splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(rows) - 1))
        key, equals, _value = rows[at].partition(" = ")
        how = draw(st.sampled_from(["value", "value", "value", "drop", "double", "move"]))
        if how == "value" and equals:
            rows[at] = f"{key} = {draw(scalars)}"
        elif how == "drop":
            rows[at] = ""
        elif how == "double":
            rows.insert(at, rows[at])
        else:
            rows.append(rows[at])
    return "\n".join(rows).encode("utf-8", "surrogatepass")


@given(changed_layouts())
@SAME
def test_a_changed_layout_file_is_taken_or_refused_in_plain_words(data):
    targets.read_layout(data)


@given(st.binary(max_size=400) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace")))
@SAME
def test_any_file_as_a_layout_is_refused_in_plain_words(data):
    targets.read_layout(data)
