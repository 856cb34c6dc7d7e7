"""What a person is told of bytes that mean nothing to the decoders: the eleven text forms of a maker's own tries among them."""

import numpy as np
import pytest
from cobs import cobs
from fastcrc import crc16

from monitor.wire.inspection import Transcript, fault_of, inspect, why_not
from tests.faults.hostile_board import misread
from tests.wire.bytestreams import counts, health_packet, identity, identity_packet, samples_packet
from tests.wire.test_mapped_lines import PAIRS, TIMED

SAMPLES = b"".join(samples_packet(15 * k, counts(15, 8, seed=k), k) for k in range(20))


def damaged_crc(stream):
    frames = [cobs.decode(frame) for frame in stream.split(b"\0") if frame]
    return b"\0" + b"".join(cobs.encode(frame[:-2] + bytes([frame[-2] ^ 1, frame[-1]])) + b"\0" for frame in frames)


def at_another_rate(seed=1):
    """Bits read at another rate: no byte of them means anything."""
    return np.random.default_rng(seed).integers(0, 256, 4000, dtype=np.uint8).tobytes()


@pytest.mark.parametrize(
    ("data", "look"),
    [
        (b"12.3,1.5\n" * 20, "text"),
        ("21 °C, 12.3 V, 4.7 kΩ\n".encode() * 20, "text"),
        (b"\xf3\x9c\x81" + b"12.3,1.5\n" * 20, "text"),
        (b"\0" + identity_packet(identity()) + SAMPLES, "packets"),
        (b"\0" + SAMPLES, "no-identity"),
        (b"\0" + health_packet() + SAMPLES, "no-identity"),
        (damaged_crc(identity_packet(identity()) + SAMPLES), "wrong-crc"),
        (b"\x12", "nothing"),
        *((at_another_rate(seed), "bytes") for seed in range(5)),
    ],
)
def test_looks(data, look):
    assert inspect(data).look == look


def test_an_identity_whose_lengths_do_not_fit():
    raw = bytearray(cobs.decode(identity_packet(identity())[:-1]))
    raw[-len("bench-1") - 3] += 1  # the length of the name, off by one byte
    raw[-2:] = crc16.ibm_3740(bytes(raw[:-2])).to_bytes(2, "little")
    seen = inspect(b"\0" + cobs.encode(bytes(raw)) + b"\0" + SAMPLES)
    assert seen.look == "wrong-identity"
    assert "name's length in bytes" in why_not(seen, "/dev/x", 500_000, None)


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("12.3,1.5", "a reading begins with r"),
        ("V=12.3 I=1.5", "a reading begins with r"),
        ('{"v":12.3,"a":1.5}', "a reading begins with r"),
        ("volts:15.2,amps:2.4", "a reading begins with r"),
        ("12.3\t1.5", "a reading begins with r"),
        ("r;100;0;15,2;2,4", "commas stand between its fields"),
        ("R,100,0,15.2,2.4", "a capital R"),
        ("r, 100, 0, 15.2, 2.4", "no blanks stand around its fields"),
        ("r,1.234,0,15.2,2.4", 'its milliseconds are "1.234": a whole number'),
        ("r,100,0,nan,2.4", 'its volts are "nan", which is no number'),
        ("r,100,64,15.2,2.4", 'its output are "64"'),
        ("r,100,0,15,2,2,4", "it has 6 fields after the r"),
        ("r,100,0,15.2,2.4*00", "its checksum is wrong"),
        ("r,100,0,15.2," + "2" * 120, "longer than 120"),
    ],
)
def test_the_field_at_fault_is_named_and_the_line_shown(line, fault):
    assert fault in fault_of(line)
    said = why_not(inspect(f"{line}\n".encode() * 10), "/dev/x", 115_200, None)
    assert fault in said
    assert line[:70] in said
    assert "another baud rate" not in said
    assert "pilotlamp listen /dev/x" in said


@pytest.mark.parametrize("sent_baud", [9600, 115_200, 500_000])
@pytest.mark.parametrize("read_baud", [9600, 19_200, 57_600, 115_200, 230_400, 250_000, 500_000, 1_000_000])
@pytest.mark.parametrize("sent", [SAMPLES, b"r,1200,0,15.23,2.40\nr,1200,1,12.07,0.51\n" * 90, b"15.23,2.40\n15.31,2.44\n" * 200])
def test_bits_read_at_another_rate_are_no_packets_and_where_they_look_like_text_the_baud_is_doubted(sent, sent_baud, read_baud):
    """Misread bit by bit as a serial receiver does, start and stop bits included; regular text at half its rate is text again."""
    if sent_baud == read_baud:
        return
    seen = inspect(misread(sent, sent_baud, read_baud)[:20_000])
    assert seen.look in ("bytes", "text")
    if seen.look == "text" and b"\n" in misread(sent, sent_baud, read_baud):
        assert "check the baud" in why_not(seen, "/dev/x", read_baud, None)


def test_another_baud_rate_only_where_bytes_are_no_text():
    said = why_not(inspect(at_another_rate()), "/dev/x", 500_000, None)
    assert "another baud rate" in said


def test_text_without_line_ends():
    said = why_not(inspect(b"12.3,1.5 " * 60), "/dev/x", 115_200, None)
    assert "no line ever ends" in said


def test_a_mapping_that_does_not_fit_is_told_with_what_is_missing():
    said = why_not(inspect(b"U=12.3 I=1.5\n" * 10), "/dev/x", 115_200, PAIRS)
    assert 'The last line is: U=12.3 I=1.5 - output 0 volts ("V") is missing' in said
    said = why_not(inspect(b"hello\n" * 10), "/dev/x", 115_200, TIMED)
    assert "it has none of what is asked for" in said


def test_a_transcript_keeps_the_last_bytes():
    transcript = Transcript()
    for _ in range(400):
        transcript.take(b"\x91\x13\xf0\x7f" * 200)
    for k in range(9000):
        transcript.take(b"line %d\n" % k)
    assert (transcript.bytes, transcript.line_ends) == (320_000 + sum(len(b"line %d\n" % k) for k in range(9000)), 9000)
    assert transcript.inspect(2).lines == ("line 8998", "line 8999")
