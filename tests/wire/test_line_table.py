"""Values are held to Python's own ``float``, items to a plain reading of the form's description."""

import math
from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.values import LineReadings
from monitor.wire import LineDecoder, line_table, lines
from monitor.wire.line_table import read_table
from monitor.wire.lines import checksum
from tests.wire.bytestreams import cut_lists, feed_in_pieces
from tests.wire.plain_lines import read_lines


def signed(figure):
    """A figure that differs from another one where its bits do, but for kinds of NaN."""
    return None if figure is None or math.isnan(figure) else (figure, math.copysign(1.0, figure))


def exact(items):
    """Readings taken apart, to the sign of zero."""
    out = []
    for item in items:
        if isinstance(item, LineReadings):
            assert (item.times_ms.dtype, item.outputs.dtype) == (np.int64, np.int64)
            columns = (item.times_ms, item.outputs, item.volts_rms, item.amps_rms, item.watts)
            out += list(zip(*(column.tolist() for column in columns), strict=True))
        else:
            out.append(item)
    return [(*item[:2], *map(signed, item[2:])) if isinstance(item, tuple) else item for item in out]


def together(items):
    """How many readings came in each item; 0 for any other."""
    return [len(item.times_ms) if isinstance(item, LineReadings) else 0 for item in items]


digits = st.text("0123456789", max_size=17)
decimals = st.builds("{}{}{}{}".format, st.sampled_from(["", "", "", "-", "+"]), digits, st.sampled_from([".", ".", ""]), digits)
odd_texts = [
    "",
    " ",
    " 1",
    "1 ",
    ".",
    "-",
    "+.",
    "-0",
    "1..2",
    "1.2.3",
    "--1",
    "1e3",
    "2.5E-2",
    "1e999",
    "nan",
    "1_0",
    "1,0",
    "0x1",
    ":",
    "/",
]
odd = st.sampled_from(odd_texts)
fields = st.one_of(st.floats(-400, 400).map("{:.2f}".format), decimals, odd)
times = st.one_of(
    st.integers(0, 2**32 + 9).map(str), st.sampled_from(["4294967295", "4294967296", "0000000007", "00000000007"]), odd
)
outputs = st.one_of(st.integers(0, 66).map(str), st.sampled_from(["0000000003", "00000000003"]), odd)
readings = st.lists(fields, min_size=1, max_size=4).flatmap(
    lambda figures: st.builds(
        lambda *start: ",".join([*start, *figures]), st.sampled_from(["r"] * 6 + ["q", "rr", "r,"]), times, outputs
    )
)
usual = st.builds(
    "r,{},{},{:.2f},{:.2f}".format, st.integers(0, 2**32 - 1), st.integers(0, 63), st.floats(0, 40), st.floats(0, 20)
)
others = st.sampled_from(
    ["", "# hello", "# *00", "b,bench-1,4,100", "b,bench-1,16,200", "b,,64,1", "b,x,65,1", "*00", "x", "é", "\r", "r"]
)
padded = st.integers(116, 124).map(lambda length: "#".ljust(length, "c")) | st.just("r,1,2,3,4".ljust(900, "5"))
ENDS = ["\n", "\n", "\r\n", "\r\r\n", "\n\n", ""]


@st.composite
def stream(draw):
    """Lines good and bad, with checksums right and wrong, and with bytes changed."""
    text = bytearray()
    for body in draw(st.lists(st.one_of(usual, usual, readings, others, padded), max_size=25)):
        coded = body.encode()
        star = draw(st.sampled_from(["", "", "right", "lower", "wrong", "*G0", "*F/", "*", "*7"]))
        sums = {"right": "*%02X", "lower": "*%02x"}
        made = sums[star] % checksum(coded) if star in sums else "*%02X" % (checksum(coded) ^ 0x41) if star == "wrong" else star
        text += coded + made.encode() + draw(st.sampled_from(ENDS)).encode()
    for place, byte in draw(st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), max_size=4)):
        if text:
            text[place % len(text)] = byte
    return bytes(text)


@pytest.fixture(scope="module", params=[1, 1 << 17], ids=["blocks of a line", "one block"])
def decoder(request):
    """A decoder that looks at all lines at once, however few."""
    with mock.patch.object(lines, "MANY_BYTES", 1), mock.patch.object(line_table, "BLOCK_BYTES", request.param):
        yield LineDecoder


@given(data=stream())
def test_lines_at_once_are_read_as_one_by_one(decoder, data):
    many, singly = decoder(), LineDecoder()
    found = many.feed(data)
    with mock.patch.object(lines, "MANY_BYTES", 1 << 30):
        single = singly.feed(data)
    assert exact(found) == exact(single) == exact(read_lines(data))
    assert together(found) == together(single)
    assert (many.lines, many.offset) == (singly.lines, singly.offset)


@given(data=stream(), cuts=cut_lists)
def test_any_cuts(decoder, data, cuts):
    assert exact(feed_in_pieces(decoder(), data, cuts)) == exact(read_lines(data))


@given(data=st.binary(max_size=300), cuts=cut_lists)
def test_noise(decoder, data, cuts):
    assert exact(feed_in_pieces(decoder(), data, cuts)) == exact(read_lines(data))


def test_decimals_are_the_nearest_floats():
    rng = np.random.default_rng(7)
    whole, fraction = rng.integers(0, 13, 60_000), rng.integers(0, 13, 60_000)
    fraction = np.where(whole + fraction == 0, 1, np.minimum(fraction, 15 - whole))
    texts = []
    for before, after, sign in zip(whole.tolist(), fraction.tolist(), rng.integers(0, 3, 60_000).tolist(), strict=True):
        figures = "".join(map(str, rng.integers(0, 10, before + after)))
        texts.append(("", "-", "+")[sign] + figures[:before] + ("." if after or sign else "") + figures[before:])
    data = "".join(
        f"r,1,2,{volts},{amps},{watts}\n" for volts, amps, watts in zip(texts[::3], texts[1::3], texts[2::3], strict=True)
    ).encode()
    table = read_table(data)
    assert table.plain.tolist() == list(range(20_000))
    expected = np.array([float(text) for text in texts])
    assert table.figures[2:].T.tobytes() == expected.tobytes()


def test_ten_digits_of_time_and_what_is_left_to_others():
    texts = [
        "r,4294967295,63,1,2",
        "r,123456789,0,-1.5,+2",
        "r,4294967296,0,1,2",
        "r,1,64,1,2",
        "r,1,0,1e1,2",
        "r,1,0,1234567890123456,2",
    ]
    table = read_table("".join(f"{text}\n" for text in texts).encode())
    assert table.plain.tolist() == [0, 1]
    assert table.figures[:4].tolist() == [[4294967295, 123456789], [63, 0], [1, -1.5], [2, 2]]
    assert np.isnan(table.figures[4]).all()
    assert (table.starts[1], table.ends[1]) == (20, 41)
