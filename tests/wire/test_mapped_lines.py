"""Lines of sketches of all kinds, by hand: each shape with the figures that a person reads off it.

Boot lines are as common 32-bit boards print them before a sketch begins (from memory).
"""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.layout import Board, LineMapping, LineOutput
from monitor.values import Identity, LineReadings
from monitor.wire import Fault, LineDecoder, WireDecoder
from monitor.wire.line_shapes import LineShapes
from monitor.wire.mapped_lines import MappedLines
from tests.wire.bytestreams import cut_lists, feed_in_pieces, flat


def board(form, *outputs, **keys):
    return Board(name="hut", lines=LineMapping(form=form, output=tuple(LineOutput(volts=v, amps=a) for v, a in outputs), **keys))


class OneByOne(MappedLines):
    """Never reads many lines at once: what a line means, plainly."""

    def __init__(self, of):
        super().__init__(of)
        self.shapes = LineShapes(lambda line: None, [math.inf] * len(of.lines.places), zeros_may_lead=True)


PLAIN = board("values", (1, 2))
TIMED = board("values", (2, 3), time_ms=1)
TWO = board("values", (1, 2), (3, 4))
LATER = board("values", (3, 5))
COMMA = board("values", (1, 2), decimal=",")
PAIRS = board("pairs", ("V", "I"))
NAMED = board("pairs", ("volts", "amps"), time_ms="t")
WORDS = board("pairs", ("Track volts", "Track amps"))
PAIRS_COMMA = board("pairs", ("U", "I"), decimal=",")
JSON = board("json", ("v", "a"))
JSON_TIMED = board("json", ("v0", "a0"), ("v1", "a1"), time_ms="ms")

# Lines, and the figures of each reading in them (board milliseconds where the board sends them), or "damaged", or nothing at all.
PACK = [
    (PLAIN, "12.3,1.5", [(12.3, 1.5)]),
    (PLAIN, "12.3, 1.5", [(12.3, 1.5)]),
    (PLAIN, "  12.30 ,  1.50  ", [(12.3, 1.5)]),
    (PLAIN, "12.3;1.5", [(12.3, 1.5)]),
    (PLAIN, "12.3\t1.5", [(12.3, 1.5)]),
    (PLAIN, "12.3 1.5", [(12.3, 1.5)]),
    (PLAIN, "12.3     1.5", [(12.3, 1.5)]),
    (PLAIN, "12,1", [(12.0, 1.0)]),
    (PLAIN, "12.,.5", [(12.0, 0.5)]),
    (PLAIN, "+12.3,+0.5", [(12.3, 0.5)]),
    (PLAIN, "012.3,001.5", [(12.3, 1.5)]),
    (PLAIN, "-12.3,-1.5", [(-12.3, -1.5)]),
    (PLAIN, "1.23e1,15E-1", [(12.3, 1.5)]),
    (PLAIN, "12.3,1.5,", [(12.3, 1.5)]),
    (PLAIN, "12.3,1.5,99,-4", [(12.3, 1.5)]),
    (PLAIN, "12.3,1.5,ok", [(12.3, 1.5)]),
    (PLAIN, "12.3V,1.5A", [(12.3, 1.5)]),
    (PLAIN, "12.3 V, 1.5 A", [(12.3, 1.5)]),
    (PLAIN, "12.3 V 1.5 A", [(12.3, 1.5)]),
    (PLAIN, "12.3V 1.5A", [(12.3, 1.5)]),
    (PLAIN, "12300mV;1500mA", [(12300.0, 1500.0)]),
    (PLAIN, "12.3VAC\t1.5Arms", [(12.3, 1.5)]),
    (PLAIN, "12.3,1.5\r", [(12.3, 1.5)]),
    (PLAIN, "0,0", [(0.0, 0.0)]),
    (PLAIN, "-0.0,-0", [(0.0, 0.0)]),
    (PLAIN, "12.3", "damaged"),
    (PLAIN, "12.3,", "damaged"),
    (PLAIN, ",1.5", "damaged"),
    (PLAIN, "12.3,abc", "damaged"),
    (PLAIN, "12..3,1.5", "damaged"),
    (PLAIN, "12.3,1.512.4,1.6", "damaged"),
    (PLAIN, "nan,1.5", "damaged"),
    (PLAIN, "nan,nan", "damaged"),
    (PLAIN, "12.3,inf", "damaged"),
    (PLAIN, "ovf,ovf", "damaged"),
    (PLAIN, "12.3,\x011.5", "damaged"),
    (PLAIN, "volts,amps", None),
    (PLAIN, "Volts\tAmps", None),
    (PLAIN, "# 12.3,1.5", None),
    (PLAIN, "// 1,2", None),
    (PLAIN, "", None),
    (PLAIN, "   ", None),
    (PLAIN, "Sketch v1.2 ready", None),
    (PLAIN, "ets Jul 29 2019 12:21:46", None),
    (PLAIN, "rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)", None),
    (PLAIN, "configsip: 0, SPIWP:0xee", None),
    (PLAIN, "load:0x3fff0030,len:1184", None),
    (PLAIN, "entry 0x400805e4", None),
    (PLAIN, b"\x8c\xe0\x00\xfe\x12\x9c", None),
    (TIMED, "1200,12.3,1.5", [(1200, 12.3, 1.5)]),
    (TIMED, "1200ms,12.3V,1.5A", [(1200, 12.3, 1.5)]),
    (TIMED, "1200.6;12.3;1.5", [(1201, 12.3, 1.5)]),
    (TIMED, "4294967297,1,2", [(1, 1.0, 2.0)]),
    (TIMED, "1200,12.3", "damaged"),
    (TIMED, "time,volts,amps", None),
    (TWO, "12.3,1.5,11.9,0.4", [(12.3, 1.5), (11.9, 0.4)]),
    (TWO, "12.3 1.5 11.9 0.4", [(12.3, 1.5), (11.9, 0.4)]),
    (TWO, "12.3,1.5,11.9", "damaged"),
    (LATER, "A,7,12.3,x,1.5", [(12.3, 1.5)]),
    (LATER, "12:03:22 ok 12.3 / 1.5", [(12.3, 1.5)]),
    (COMMA, "12,3;1,5", [(12.3, 1.5)]),
    (COMMA, "12,3\t1,5", [(12.3, 1.5)]),
    (COMMA, "12,3 1,5", [(12.3, 1.5)]),
    (COMMA, "12,3 V; 1,5 A", [(12.3, 1.5)]),
    (COMMA, "12;1", [(12.0, 1.0)]),
    (COMMA, "12.3;1,5", "damaged"),
    (PAIRS, "V=12.3 I=1.5", [(12.3, 1.5)]),
    (PAIRS, "V=12.3,I=1.5", [(12.3, 1.5)]),
    (PAIRS, "I=1.5;V=12.3", [(12.3, 1.5)]),
    (PAIRS, "V: 12.3  I: 1.5", [(12.3, 1.5)]),
    (PAIRS, "V = 12.3V, I = 1.5A", [(12.3, 1.5)]),
    (PAIRS, "P=18.4 V=12.3 mode=on I=1.5", [(12.3, 1.5)]),
    (PAIRS, "kV=1,V=12.3,I=1.5", [(12.3, 1.5)]),
    (PAIRS, "V=-12.3 I=-1.5", [(-12.3, -1.5)]),
    (PAIRS, "V=12.3", "damaged"),
    (PAIRS, "V=12.3 I=", "damaged"),
    (PAIRS, "V= I=", "damaged"),
    (PAIRS, "V=nan I=nan", "damaged"),
    (PAIRS, "V=12.3 I=V=12.4 I=1.5", "damaged"),
    (PAIRS, "booting: 3 2 1", None),
    (NAMED, "volts:12.3,amps:1.5,t:200ms", [(200, 12.3, 1.5)]),
    (NAMED, "t=200\tvolts=12.3\tamps=1.5", [(200, 12.3, 1.5)]),
    (NAMED, "volts:12.3,amps:1.5", "damaged"),
    (WORDS, "Track volts: 12.3, Track amps: 1.5", [(12.3, 1.5)]),
    (PAIRS_COMMA, "U=12,3 I=1,5", [(12.3, 1.5)]),
    (PAIRS_COMMA, "U:12,3;I:1,5", [(12.3, 1.5)]),
    (PAIRS_COMMA, "U:12,3,I:1,5", [(12.3, 1.5)]),
    (JSON, '{"v":12.3,"a":1.5}', [(12.3, 1.5)]),
    (JSON, '{"a": 1.5, "v": 12.3, "mode": "on", "more": [1, {"v": 9}]}', [(12.3, 1.5)]),
    (JSON, '{"v":"12.3V","a":"1.5 A"}', [(12.3, 1.5)]),
    (JSON, '{"v":-12.3,"a":0}', [(-12.3, 0.0)]),
    (JSON, '{"v":null,"a":1.5}', "damaged"),
    (JSON, '{"v":NaN,"a":1.5}', "damaged"),
    (JSON, '{"v":12.3}', "damaged"),
    (JSON, '{"v":12.3,"a":1.', "damaged"),
    (JSON, '.3,"a":1.5}', "damaged"),
    (JSON, '{"v":12.3,"a":true}', "damaged"),
    (JSON, '{"event":"boot"}', None),
    (JSON, "Connecting to Wi-Fi ...", None),
    (JSON_TIMED, '{"ms":50,"v0":1,"a0":2,"v1":3,"a1":4}', [(50, 1.0, 2.0), (50, 3.0, 4.0)]),
]


def as_bytes(line):
    return line if isinstance(line, bytes) else line.encode("latin-1" if line.isascii() else "utf-8")


def figures(items, *, timed):
    found = []
    for item in items:
        if isinstance(item, LineReadings):
            found += zip(item.times_ms.tolist(), item.volts_rms.tolist(), item.amps_rms.tolist(), strict=True)
    return found if timed else [pair for _, *pair in map(tuple, found)]


def test_the_pack_holds_sixty_shapes_and_more():
    assert len({(id(of), line) for of, line, _ in PACK}) == len(PACK) > 60


@pytest.mark.parametrize("repeats", [1, 3])
@pytest.mark.parametrize("grammar", [MappedLines, OneByOne])
@pytest.mark.parametrize(("of", "line", "said"), PACK, ids=[repr(line)[:40] for _, line, _ in PACK])
def test_a_shape_says_what_a_person_reads(of, line, said, grammar, repeats):
    items = LineDecoder(grammar(of)).feed((as_bytes(line) + b"\n") * repeats)
    faults = [item for item in items if isinstance(item, Fault)]
    assert len(faults) == (repeats if said == "damaged" else 0)
    timed = of.lines.time_ms is not None
    expected = [pytest.approx(reading) for reading in (said if isinstance(said, list) else []) * repeats]
    assert [tuple(each) for each in figures(items, timed=timed)] == expected


def test_damage_is_told_with_the_line_and_what_is_missing():
    (fault,) = LineDecoder(MappedLines(TIMED)).feed(b"1200,12.3,o.5\n")
    assert fault.kind.is_damage
    assert fault.detail == '1200,12.3,o.5: output 0 amps (place 3) is "o.5", which is no number'
    (fault,) = LineDecoder(MappedLines(PAIRS)).feed(b"V=12.3\n")
    assert fault.detail == 'V=12.3: output 0 amps ("I") is missing'


def test_scales_and_zeros():
    output = LineOutput(volts=1, amps=2, volts_scale=0.001, amps_scale=0.1, volts_zero=20, amps_zero=512)
    made = Board(name="hut", lines=LineMapping(form="values", output=(output,)))
    (_, readings) = LineDecoder(MappedLines(made)).feed(b"15220,536\n")
    np.testing.assert_allclose((readings.volts_rms[0], readings.amps_rms[0]), (15.2, 2.4))


def test_the_board_is_known_from_its_first_reading_on_and_not_before():
    decoder = WireDecoder(TIMED)
    assert decoder.feed(b"boot\ntime,volts,amps\n12,3.4\n") == []
    assert decoder.form is None
    damage, identity, readings = decoder.feed(b"100,12.3,1.5\n")
    assert isinstance(damage, Fault)
    assert isinstance(identity, Identity)
    assert (identity.name, identity.form, identity.has_clock, len(identity.channels)) == ("hut", "lines", True, 2)
    assert readings.times_ms.tolist() == [100]


def test_lines_without_a_time_are_timed_by_their_interval_and_damaged_ones_took_theirs():
    made = board("values", (1, 2), interval_ms=200)
    (identity, first, _, last) = LineDecoder(MappedLines(made)).feed(b"head,er\n1,2\n3,4\n5\n# no\n7,8\n")
    assert not identity.has_clock
    assert identity.scan_interval_s == 0.2
    assert first.times_ms.tolist() + last.times_ms.tolist() == [0, 200, 600]


def test_the_last_line_may_lack_its_end_where_it_is_whole():
    for text, found in ((b"1,2\n3,4", 1), (b"1,2\n3", 0), (b"1,2\n", 0), (b"1,2\nbye", 0)):
        decoder = WireDecoder(PLAIN)
        decoder.feed(text)
        assert len(decoder.finish()) == found
    plain = WireDecoder()
    plain.feed(b"r,1,0,1,1\nr,2,0,1,1")
    assert plain.finish() == []


def test_own_lines_and_packets_are_not_taken_for_mapped_ones():
    assert not any(isinstance(item, LineReadings) for item in LineDecoder(MappedLines(PLAIN)).feed(b"r,100,0,15.2,2.4\n" * 9))


numbers = st.one_of(
    st.floats(-400, 400).map("{:.2f}".format),
    st.floats(-400, 400, allow_subnormal=False).map(repr),
    st.integers(-9, 99999).map(str),
    st.sampled_from(["nan", "inf", "", "x", "1.2.3", "+5", ".5", "5.", "007", "-", "1e3", "1e999", "0x10", "12 3", "--1", "1,5"]),
)
units = st.sampled_from(["", "", "", "V", " V", "mA", "A", "ms", "foo", "%", "°C", " x"])
fields = st.builds("{}{}".format, numbers, units)
names = st.sampled_from(["V", "I", "t", "x", "Track V", "v", "a", "kV", ""])
strange = st.one_of(
    st.sampled_from(
        ["", "#", "// x", "boot: 3", "a,b,c", '{"v":1,"a":2}', '{"v":1}{"a":2}', "[1,2]", "\x00\x01\x02", "é,ö", "V=1"]
    ),
    st.text(max_size=12).filter(lambda text: "\n" not in text),
)
marks = st.sampled_from([",", ",", ";", "\t", " ", ", ", "  ", " ; ", ",,"])
values_lines = st.builds(
    lambda made, mark, end: mark.join(made) + end, st.lists(fields, max_size=5), marks, st.sampled_from(["", ",", "\r", " "])
)
pairs_lines = st.builds(
    lambda made, mark, equals: mark.join(f"{name}{equals}{field}" for name, field in made),
    st.lists(st.tuples(names, fields), max_size=4),
    marks,
    st.sampled_from(["=", ":", " = ", ": "]),
)
json_lines = st.dictionaries(names, st.one_of(st.floats(), st.integers(), fields, st.none(), st.booleans()), max_size=4).map(
    json.dumps
)
streams = st.lists(st.one_of(values_lines, pairs_lines, json_lines, strange), max_size=14).map(
    lambda made: b"".join(line.encode(errors="replace") + b"\n" for line in made)
)
boards = st.sampled_from(
    [
        PLAIN,
        TIMED,
        TWO,
        LATER,
        COMMA,
        PAIRS,
        PAIRS_COMMA,
        JSON,
        board("pairs", ("I", "V"), time_ms="t"),
        board("json", ("V", "I")),
    ]
)


def exact(items):
    return [item if not isinstance(item, Fault) else (item.kind, item.offset, item.size, item.detail) for item in flat(items)]


@given(of=boards, data=streams, cuts=cut_lists)
def test_lines_at_once_in_pieces_and_one_by_one_say_the_same(of, data, cuts):
    singly = exact(LineDecoder(OneByOne(of)).feed(data))
    assert exact(LineDecoder(MappedLines(of)).feed(data)) == singly
    assert exact(feed_in_pieces(LineDecoder(MappedLines(of)), data, cuts)) == singly


@given(of=boards, like=st.integers(0, 2), count=st.integers(1, 40), draw=st.data())
def test_plain_streams_with_one_odd_line(of, like, count, draw):
    """Many lines of one shape, so that the quick way is taken, and one of another in their midst."""
    shape = (values_lines, pairs_lines, json_lines)[like]
    line, odd = draw.draw(shape), draw.draw(st.one_of(shape, strange))
    made = [line] * count
    made.insert(count // 2, odd)
    data = b"".join(each.encode(errors="replace") + b"\n" for each in made)
    assert exact(LineDecoder(MappedLines(of)).feed(data)) == exact(LineDecoder(OneByOne(of)).feed(data))


@given(
    st.lists(st.tuples(st.floats(-99, 99), st.floats(-99, 99)), min_size=1, max_size=40), st.sampled_from([",", ";", "\t", " "])
)
def test_figures_are_those_of_python(rows, mark):
    data = "".join(f"{volts!r}{mark}{amps!r}\n" for volts, amps in rows).encode()
    _, readings = LineDecoder(MappedLines(PLAIN)).feed(data)
    assert list(zip(readings.volts_rms.tolist(), readings.amps_rms.tolist(), strict=True)) == rows


@given(of=boards, data=st.binary(max_size=400), cuts=cut_lists)
def test_any_bytes_never_raise(of, data, cuts):
    assert exact(feed_in_pieces(WireDecoder(of), data, cuts)) == exact(WireDecoder(of).feed(data))


def test_no_reading_is_ever_infinite():
    assert not math.isinf(
        max(volts for volts, _ in figures(LineDecoder(MappedLines(PLAIN)).feed(b"1e999,1\n2,3\n"), timed=False))
    )
