"""Values are held to Python's own ``float``, items to a plain reading of the form's description."""

import math

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.values import LineReadings
from monitor.wire import LineDecoder
from monitor.wire.line_shapes import LineShapes
from monitor.wire.reading_lines import ReadingLines, checksum
from tests.wire.bytestreams import cut_lists, feed_in_pieces
from tests.wire.plain_lines import read_lines


def value(figure):
    return None if figure is None or math.isnan(figure) else figure


def exact(items):
    """Readings taken apart."""
    out = []
    for item in items:
        if isinstance(item, LineReadings):
            assert (item.times_ms.dtype, item.outputs.dtype) == (np.int64, np.int64)
            columns = (item.times_ms, item.outputs, item.volts_rms, item.amps_rms, item.watts)
            out += list(zip(*(column.tolist() for column in columns), strict=True))
        else:
            out.append(item)
    return [(*item[:2], *map(value, item[2:])) if isinstance(item, tuple) else item for item in out]


class OneByOne(ReadingLines):
    """Never reads many lines at once."""

    def __init__(self):
        super().__init__()
        self.shapes = LineShapes(lambda line: None, [math.inf] * 5, zeros_may_lead=True)


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


@given(data=stream())
def test_lines_at_once_are_read_as_one_by_one(data):
    assert exact(LineDecoder().feed(data)) == exact(LineDecoder(OneByOne()).feed(data)) == exact(read_lines(data))


# A carriage return is no part of a line's end where a checksum follows: of the text with it, and of the text without.
@given(data=stream(), cuts=cut_lists)
@example(data=b"r,8400,0,0.00,9.71\r*4C\nr,8400,0,0.00,9.71\r*41\r\nr,8400,0,0.00,9.71*41\r\n", cuts=[])
def test_any_cuts(data, cuts):
    assert exact(feed_in_pieces(LineDecoder(), data, cuts)) == exact(read_lines(data))


@given(data=st.binary(max_size=300), cuts=cut_lists)
def test_noise(data, cuts):
    assert exact(feed_in_pieces(LineDecoder(), data, cuts)) == exact(read_lines(data))


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
    (found,) = LineDecoder().feed(data)
    assert np.stack([found.volts_rms, found.amps_rms, found.watts], axis=1).ravel().tolist() == [float(text) for text in texts]


def test_readings_say_where_their_lines_end():
    data = b"# hi\nr,1,0,1,2\nr,2,0,1\nr,3,0,1,2*00\nr,4,0,1,2,3\r\n"
    ends = [end for item in LineDecoder().feed(data) if isinstance(item, LineReadings) for end in item.ends.tolist()]
    assert ends == [15, len(data)]


def test_checksums_are_taken_off_many_lines_at_once():
    texts = [f"r,{k},{k % 3},{k / 7:.2f},{k / 9:.3f}".encode() for k in range(50)]
    data = b"".join(b"%b*%02X\n" % (text, checksum(text)) for text in texts)
    rows, is_read = ReadingLines().shapes.read(ReadingLines().plain(data), len(texts))
    assert is_read.all()
    assert rows[:, :4].tolist() == [[float(field) for field in text.split(b",")[1:]] for text in texts]
    _, is_read = ReadingLines().shapes.read(ReadingLines().plain(data.replace(b"*", b"9*", 1)), len(texts))
    assert is_read.tolist() == [False] + [True] * 49
