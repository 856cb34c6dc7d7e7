"""Source of the checksum: NMEA 0183, XOR of the characters; the sentence is a published example."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.values import Identity, LineReadings
from monitor.wire import Fault, FaultKind, LineDecoder
from monitor.wire.encode import line
from monitor.wire.reading_lines import LINE_LIMIT_CHARACTERS, checksum
from tests.wire.bytestreams import cut_lists, feed_in_pieces, flat, three_ways


def test_checksum_of_published_nmea_sentences():
    assert checksum(b"GPRMC,155123.000,A,4043.8432,N,07359.7653,W,0.15,83.25,200407,,") == 0x28
    assert checksum(b"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,") == 0x47


def test_readings_identity_and_comments():
    data = b"# hello\nb,bench-1,4,100\r\nr,100,0,11.75,0.61\nr,100,1,15.23,0.77,11.5*70\r\n\n"
    whole, single, left_over = three_ways(LineDecoder, data)
    assert whole == single == left_over
    assert whole[1:] == [("reading", 100, 0, 11.75, 0.61, -1.0), ("reading", 100, 1, 15.23, 0.77, 11.5)]
    assert (whole[0].name, len(whole[0].channels), whole[0].scan_interval_s, whole[0].form) == ("bench-1", 8, 0.1, "lines")


def test_a_wrong_checksum_drops_the_line_and_none_is_fine():
    (fault,) = LineDecoder().feed(b"r,100,1,15.23,0.77,11.5*71\n")
    assert fault.kind is FaultKind.CHECKSUM
    assert isinstance(LineDecoder().feed(b"r,100,1,15.23,0.77,11.5\n")[0], LineReadings)
    # A comment that merely ends in a star is a comment.
    assert LineDecoder().feed(b"# made by a *me\n") == []


@pytest.mark.parametrize(
    "text",
    [
        *("r,1,2,3", "r,1,2,3,4,5,6", "r,-1,0,1,1", "r,1,0,nan,1", "r,1,0,1_0,1", "r,1,0, 1,1", "r,4294967296,0,1,1"),
        *(
            "r,1,64,1,1",
            "x,1",
            "b,n,0,100",
            "b,n,4,0",
            "b,a,b,4,100",
            "r,1,0,1e999,1",
            "hello",
            "r,1,0,,1",
            "r,,0,1,1",
            "r,1,0,1,1,",
        ),
    ],
)
def test_lines_that_are_not_of_the_form(text):
    (fault,) = LineDecoder().feed(line(text))
    assert fault.kind is FaultKind.SYNTAX


def test_limits_of_length():
    longest = "# " + "x" * (LINE_LIMIT_CHARACTERS - 2)
    assert LineDecoder().feed(longest.encode() + b"\n") == []
    assert LineDecoder().feed(longest.encode() + b"\r\n") == []
    for over in (longest + "x", longest + "xx", longest * 3):
        whole, single, _ = three_ways(LineDecoder, over.encode() + b"\nr,1,0,1,1\n")
        assert whole == single
        assert whole[0].kind is FaultKind.TOO_LONG
        assert whole[1] == ("reading", 1, 0, 1.0, 1.0, -1.0)


reading_lines = st.builds(
    lambda ms, output, volts, amps, watts, star: line(
        f"r,{ms},{output},{volts:.2f},{amps:.3f}" + ("" if watts is None else f",{watts:.1f}"), with_checksum=star
    ),
    st.integers(0, 2**32 - 1),
    st.integers(0, 63),
    st.floats(0, 40),
    st.floats(-20, 20),
    st.none() | st.floats(-100, 400),
    st.booleans(),
)
padded_comments = st.integers(LINE_LIMIT_CHARACTERS - 3, LINE_LIMIT_CHARACTERS + 3).map(lambda n: b"#" + b"c" * (n - 1) + b"\n")


@given(st.lists(reading_lines | padded_comments, max_size=12).map(b"".join), cut_lists)
def test_any_chunking(data, cuts):
    assert flat(feed_in_pieces(LineDecoder(), data, cuts)) == flat(LineDecoder().feed(data))


@given(st.lists(reading_lines, min_size=1, max_size=12))
def test_round_trip(lines):
    items = LineDecoder().feed(b"".join(lines))
    assert not any(isinstance(item, Fault) for item in items)
    (readings,) = items
    assert len(readings.times_ms) == len(lines)
    texts = [text.split(b"*")[0].decode().split(",") for text in lines]
    assert readings.volts_rms.tolist() == [float(fields[3]) for fields in texts]
    sent = [math.isnan(value) for value in readings.watts.tolist()]
    assert sent == [len(fields) == 5 for fields in texts]


@given(st.binary(max_size=1500), cut_lists)
def test_any_bytes_never_raise(noise, cuts):
    assert flat(feed_in_pieces(LineDecoder(), noise, cuts)) == flat(LineDecoder().feed(noise))


def test_damage_costs_only_its_line():
    data = b"".join(line(f"r,{100 * k},0,12.0,1.0", with_checksum=True) for k in range(10))
    hurt = bytearray(data)
    hurt[len(data) // 2] ^= 0x10
    items = LineDecoder().feed(bytes(hurt))
    assert sum(len(item.times_ms) for item in items if isinstance(item, LineReadings)) >= 8
    assert not any(isinstance(item, Identity) for item in items)
