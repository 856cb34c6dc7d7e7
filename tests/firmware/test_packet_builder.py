"""The packet builder and its ring, compiled for this machine, against the libraries cobs and fastcrc.

simavr hands every byte over the moment it is written, so it would not notice a ring that lets half a packet out or a full one
that overwrites itself: that is proved here.
"""

import ctypes
import struct
from collections import deque

import pytest
from cobs import cobs
from fastcrc import crc16
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware import toolchain

pytestmark = pytest.mark.avr
BODY_LIMIT = 248
RING_ROOM = 511


@pytest.fixture(scope="module")
def builder():
    library = ctypes.CDLL(str(toolchain.packet_library()))
    library.packet_begin.argtypes = [ctypes.c_uint8]
    library.packet_open.restype = ctypes.c_bool
    library.packet_open.argtypes = [ctypes.c_uint8, ctypes.c_uint8]
    library.packet_u8.argtypes = [ctypes.c_uint8]
    library.packet_u16.argtypes = [ctypes.c_uint16]
    library.packet_u32.argtypes = [ctypes.c_uint32]
    library.packet_f32.argtypes = [ctypes.c_float]
    library.ring_take.restype = ctypes.c_int16
    library.ring_free.restype = ctypes.c_uint16
    return library


def drain(builder, limit=1000):
    taken = bytearray()
    while len(taken) < limit and (byte := builder.ring_take()) >= 0:
        taken.append(byte)
    return bytes(taken)


def send(builder, kind, body):
    if not builder.packet_open(kind, len(body)):
        return False
    for byte in body:
        builder.packet_u8(byte)
    builder.packet_close()
    return True


def coded(kind, sequence, body):
    """The whole packet by the libraries alone."""
    plain = struct.pack("<BBH", kind, 0, sequence) + body
    return cobs.encode(plain + struct.pack("<H", crc16.ibm_3740(plain))) + b"\0"


def test_the_library_has_the_catalogued_crc():
    # CRC-16/IBM-3740 in the catalogue of parametrised CRC algorithms: check value of "123456789".
    assert crc16.ibm_3740(b"123456789") == 0x29B1


def test_a_stream_starts_with_one_zero_byte(builder):
    builder.packet_begin(0)
    assert drain(builder) == b"\0"


# Bodies around the limits of stuffing: lengths at and near the longest, few or no zeros, and bytes at random.
bodies = st.one_of(
    st.binary(max_size=BODY_LIMIT),
    st.integers(BODY_LIMIT - 6, BODY_LIMIT).map(lambda size: b"\xff" * size),
    st.integers(BODY_LIMIT - 6, BODY_LIMIT).flatmap(
        lambda size: st.lists(st.sampled_from([0, 1, 255]), min_size=size, max_size=size).map(bytes)
    ),
)


@given(kind=st.integers(1, 255), sequence=st.integers(0, 4), body=bodies)
def test_packets_are_those_of_the_libraries(builder, kind, sequence, body):
    builder.packet_begin(0)
    for _ in range(sequence):
        assert send(builder, 1, b"")
    drain(builder)
    assert send(builder, kind, body)
    assert drain(builder) == coded(kind, sequence, body)


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFFFFFF), st.floats(width=32, allow_nan=False))
def test_numbers_are_little_endian(builder, small, large, real):
    builder.packet_begin(0)
    drain(builder)
    assert builder.packet_open(3, 10)
    builder.packet_u16(small)
    builder.packet_u32(large)
    builder.packet_f32(real)
    builder.packet_close()
    assert drain(builder) == coded(3, 0, struct.pack("<HIf", small, large, real))


steps = st.lists(
    st.one_of(bodies.map(lambda body: ("send", body)), st.integers(1, 400).map(lambda size: ("take", size))), max_size=40
)


@given(steps)
def test_a_full_ring_refuses_whole_packets_and_loses_nothing_it_took(builder, steps):
    builder.packet_begin(0)
    expected = deque(b"\0")
    sequence = 0
    for what, value in steps:
        if what == "take":
            taken = drain(builder, value)
            assert taken == bytes(expected.popleft() for _ in range(min(value, len(expected))))
        elif send(builder, 2, value):
            expected.extend(coded(2, sequence, value))
            sequence += 1
        else:
            # Refused only where it might not have fitted: head 4, CRC 2, one byte of stuffing, one delimiter.
            assert RING_ROOM - len(expected) < len(value) + 8
        assert builder.ring_free() == RING_ROOM - len(expected)
    assert drain(builder) == bytes(expected)


def test_the_sender_sees_nothing_of_a_packet_that_is_still_open(builder):
    builder.packet_begin(0)
    drain(builder)
    assert builder.packet_open(2, 3)
    builder.packet_u8(1)
    assert builder.ring_take() == -1
    builder.packet_u16(0)
    assert builder.ring_take() == -1
    builder.packet_close()
    assert drain(builder) == coded(2, 0, b"\x01\0\0")
