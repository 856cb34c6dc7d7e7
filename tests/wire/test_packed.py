"""Sources: COBS examples of Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
Networking 7(2), 1999, Fig. 2 and 3; CRC check values of the public catalogue of parametrised CRC algorithms (CRC-16/IBM-3740).
"""

import itertools

import numpy as np
import pytest
from cobs import cobs
from fastcrc import crc16
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitor.values import Health, Identity, ResetCause
from monitor.wire import Fault, FaultKind, PackedDecoder, SampleRun
from monitor.wire.encode import health_body, packet, samples_body
from monitor.wire.thresholds import HELD_BYTES
from tests.wire.bytestreams import (
    counts,
    cut_lists,
    feed_in_pieces,
    flat,
    health_packet,
    identity,
    identity_packet,
    packet_streams,
    samples_packet,
    three_ways,
)


def test_crc_check_value_of_the_catalogue():
    assert crc16.ibm_3740(b"123456789") == 0x29B1


def test_cobs_examples_of_the_paper():
    ip_header = bytes.fromhex("45 00 00 2C 4C 79 00 00 40 06 4F 37")
    assert cobs.encode(ip_header) == bytes.fromhex("02 45 01 04 2C 4C 79 01 05 40 06 4F 37")
    long_run = cobs.encode(b"\1" * 679 + b"\0")
    assert (len(long_run), long_run[0], long_run[255], long_run[510], long_run[-1]) == (683, 0xFF, 0xFF, 0xAC, 0x01)


def test_cobs_of_254_bytes_without_zero_has_no_spare_code_byte():
    # An edge on which public encoders differ; the longest packet of the form is 254 bytes.
    assert cobs.encode(bytes(range(1, 255))) == b"\xff" + bytes(range(1, 255))


def test_a_stream_decodes_the_same_whole_bytewise_and_with_bytes_left_over():
    made = identity()
    stream = b"\0" + identity_packet(made) + health_packet(1.5, 1) + samples_packet(0, counts(15, 8), 2)
    whole, single, left_over = three_ways(PackedDecoder, stream)
    assert whole == single == left_over
    assert isinstance(whole[0], Identity)
    assert isinstance(whole[1], Health)
    assert len(whole) == 2 + 15


def test_identity_carries_every_field():
    made = identity(channels=3, number=200, name="hällen")
    (got,) = PackedDecoder().feed(b"\0" + identity_packet(made))
    assert (got.number, got.name, got.form) == (200, "hällen", "packed")
    assert got.scan_interval_s == pytest.approx(832e-6)
    assert [channel.quantity for channel in got.channels] == ["V", "A", "V"]
    assert got.channels[2].skew_s == pytest.approx(208e-6)
    assert got.channels[1].units_per_count == pytest.approx(0.05859375)


def test_health_carries_every_field_and_zero_volts_mean_not_measured():
    (health,) = PackedDecoder().feed(b"\0" + packet(3, 4, 0, bytes.fromhex("10270000 7413 05000000 06")))
    assert health == Health(
        number=4,
        uptime_s=10.0,
        supply_volts=4.98,
        scans_dropped=5,
        reset_causes=frozenset({ResetCause.EXTERNAL, ResetCause.BROWN_OUT}),
    )
    assert health_body(health) == bytes.fromhex("10270000 7413 05000000 06")
    (health,) = PackedDecoder().feed(b"\0" + packet(3, 4, 0, bytes.fromhex("10270000 0000 05000000 00")))
    assert health.supply_volts is None


@given(packet_streams(), cut_lists)
def test_round_trip_and_any_chunking(stream, cuts):
    whole = flat(PackedDecoder().feed(stream))
    assert not [item for item in whole if isinstance(item, Fault)]
    assert flat(feed_in_pieces(PackedDecoder(), stream, cuts)) == whole


@given(packet_streams())
@settings(max_examples=30)
def test_one_byte_at_a_time(stream):
    decoder = PackedDecoder()
    assert flat([item for k in range(len(stream)) for item in decoder.feed(stream[k : k + 1])]) == flat(
        PackedDecoder().feed(stream)
    )


@given(st.binary(max_size=2000), cut_lists)
def test_any_bytes_give_items_and_never_an_exception(noise, cuts):
    assert flat(feed_in_pieces(PackedDecoder(), noise, cuts)) == flat(PackedDecoder().feed(noise))


@given(st.integers(0, 9), st.integers(0, 300), st.integers(1, 255))
def test_damage_costs_no_more_than_the_damaged_packet_and_its_neighbour(which, where, flip):
    blocks = [samples_packet(15 * k, counts(15, 8, seed=k), k + 1) for k in range(10)]
    hurt = bytearray(blocks[which])
    assume(where < len(hurt))
    hurt[where] ^= flip
    # A hurt delimiter joins two packets into one, so it may cost both; any other byte costs its own packet only.
    cost = 2 if where == len(hurt) - 1 else 1
    stream = b"\0" + identity_packet(identity()) + b"".join([*blocks[:which], bytes(hurt), *blocks[which + 1 :]])
    items = PackedDecoder().feed(stream)
    kept = sum(len(item.counts) for item in items if isinstance(item, SampleRun))
    assert kept >= 15 * (10 - cost)
    for item in items:
        if isinstance(item, SampleRun):
            first = item.first_scan // 15
            expected = np.concatenate([counts(15, 8, seed=first + k) for k in range(len(item.counts) // 15)])
            assert np.array_equal(item.counts, expected)


def test_lengths_that_do_not_fit_are_faults():
    decoder = PackedDecoder()
    decoder.feed(b"\0" + identity_packet(identity()))
    body = samples_body(0, counts(3, 8))
    for wrong in (body[:-1], body[:4] + b"\x02" + body[5:], body[:4] + b"\0", b"", b"\0"):
        (fault,) = decoder.feed(packet(2, 0, 0, wrong))
        assert fault.kind in (FaultKind.SHAPE, FaultKind.TOO_SHORT)


def test_another_version_unknown_types_and_absurd_scales_are_told_apart():
    body = bytearray(packet(1, 0, 0, b""))
    del body
    decoder = PackedDecoder()
    (fault,) = decoder.feed(b"\0" + packet(1, 0, 0, b"\x02" + bytes(20)))
    assert (fault.kind, fault.detail, fault.kind.is_damage) == (FaultKind.VERSION, "2", False)
    (fault,) = decoder.feed(packet(77, 0, 0, b"future"))
    assert (fault.kind, fault.detail, fault.kind.is_damage) == (FaultKind.UNKNOWN_TYPE, "77", False)
    absurd = identity(channels=1)
    absurd = type(absurd)(
        number=0,
        name="x",
        scan_interval_s=0.001,
        channels=(type(absurd.channels[0])(quantity="V", skew_s=0.0, units_per_count=float("inf"), zero_counts=0.0),),
    )
    (fault,) = decoder.feed(identity_packet(absurd))
    assert fault.kind is FaultKind.SHAPE


def test_samples_wait_for_their_identity_and_no_more_than_the_limit_waits():
    decoder = PackedDecoder()
    assert decoder.feed(b"\0" + samples_packet(0, counts(15, 8))) == []
    items = decoder.feed(identity_packet(identity()))
    assert [type(item) for item in items] == [Identity, SampleRun]

    decoder = PackedDecoder()
    faults = [item for k in range(400) for item in decoder.feed(samples_packet(15 * k, counts(15, 8, seed=k)))]
    assert faults
    assert {fault.kind for fault in faults} == {FaultKind.NO_IDENTITY}
    assert decoder._held_bytes <= HELD_BYTES
    kept = sum(len(item.counts) for item in decoder.feed(identity_packet(identity())) if isinstance(item, SampleRun))
    assert kept == (400 - len(faults)) * 15


def test_two_boards_on_one_line_are_kept_apart():
    first, second = identity(2, number=1, name="one"), identity(4, number=2, name="two")
    stream = b"\0" + identity_packet(first) + identity_packet(second)
    for k in range(5):
        stream += samples_packet(10 * k, counts(10, 2, seed=k), k, 1) + samples_packet(8 * k, counts(8, 4, seed=k), k, 2)
    runs = [item for item in PackedDecoder().feed(stream) if isinstance(item, SampleRun)]
    assert {run.counts.shape[1] for run in runs if run.number == 1} == {2}
    assert sum(len(run.counts) for run in runs if run.number == 2) == 40


def one_by_one(stream):
    """Items of a stream whose packets come one at a time: nothing is ever taken together."""
    decoder = PackedDecoder()
    edges = [k + 1 for k, byte in enumerate(stream) if byte == 0]
    return [item for start, end in itertools.pairwise([0, *edges]) for item in decoder.feed(stream[start:end])]


@given(
    damage=st.lists(
        st.tuples(st.integers(0, 40), st.sampled_from(["lost", "flipped", "twice", "short", "long", "unknown"])), max_size=8
    ),
    cuts=cut_lists,
)
def test_damaged_streams_say_the_same_together_and_one_by_one(damage, cuts):
    """Two boards, identities in the midst, packets lost, hurt, repeated and of other lengths and kinds; in stream order."""
    packets = []
    for k in range(20):
        packets.append(samples_packet(15 * k, counts(15, 8, seed=k), k))
        packets.append(samples_packet(9 * k, counts(9, 4, seed=k), k, number=3))
        packets += [identity_packet(identity()), identity_packet(identity(4, number=3)), health_packet()] if k % 7 == 2 else []
    for at, how in damage:
        whole = packets[at]
        packets[at] = {
            "lost": b"",
            "flipped": whole[:9] + bytes([whole[9] % 255 + 1]) + whole[10:] if len(whole) > 10 else b"",
            "twice": whole * 2,
            "short": b"\x02\x07\0",
            "long": b"\x05" * 600 + b"\0",
            "unknown": packet(77, 0, 0, b"x") + packet(2, 0, 0, samples_body(0, counts(3, 8))[:-1]),
        }[how]
    stream = b"\0" + b"".join(packets)
    singly = flat(one_by_one(stream))
    assert flat(PackedDecoder().feed(stream)) == singly
    assert flat(feed_in_pieces(PackedDecoder(), stream, cuts)) == singly
