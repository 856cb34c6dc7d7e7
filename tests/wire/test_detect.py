from hypothesis import given
from hypothesis import strategies as st

from monitor.layout import Board, LineMapping, LineOutput
from monitor.values import Identity, LineReadings
from monitor.wire import Fault, WireDecoder
from monitor.wire.encode import line
from tests.wire.bytestreams import (
    counts,
    cut_lists,
    feed_in_pieces,
    flat,
    identity,
    identity_packet,
    packet_streams,
    samples_packet,
)

LINES = b"# sketch\n" + line("b,hut,2,100") + line("r,1,0,12.0,1.0") + line("r,1,1,12.0,1.0", with_checksum=True)


def decided(data):
    decoder = WireDecoder()
    decoder.feed(data)
    return decoder.form


def test_tells_the_two_forms_apart():
    assert decided(LINES) == "lines"
    assert decided(b"\0" + identity_packet(identity()) + samples_packet(0, counts(15, 8))) == "packed"


def test_a_stream_joined_in_the_middle():
    packed = b"\0" + identity_packet(identity()) + b"".join(samples_packet(15 * k, counts(15, 8, seed=k), k) for k in range(4))
    assert decided(packed[50:]) == "packed"
    assert decided(LINES[3:]) == "lines"


def damage(data):
    return [item.kind for item in WireDecoder().feed(data) if isinstance(item, Fault) and item.kind.is_damage]


def test_what_the_listening_broke_into_is_no_damage():
    packed = b"\0" + identity_packet(identity()) + b"".join(samples_packet(15 * k, counts(15, 8, seed=k), k) for k in range(4))
    assert [at for at in range(len(packed) - 300) if damage(packed[at:])] == []
    assert [at for at in range(len(LINES) - 20) if damage(LINES[at:])] == []


def test_a_hurt_packet_behind_a_delimiter_is_damage():
    whole = samples_packet(0, counts(15, 8), 0)
    hurt = whole[:40] + bytes([whole[40] ^ 1]) + whole[41:]
    assert len(damage(b"\0" + hurt + identity_packet(identity()))) == 1
    assert len(damage(b"\n" + line("r,1,0,12.0,1.0", with_checksum=True).replace(b"12", b"13") + LINES)) == 1


def test_noise_is_neither_and_is_counted():
    decoder = WireDecoder()
    decoder.feed(bytes(range(256)) * 20)
    assert decoder.form is None
    assert decoder.unexplained_bytes == 5120


@given(st.binary(max_size=60), st.one_of(packet_streams(), st.just(LINES)), cut_lists)
def test_any_chunking_decides_at_the_same_place(noise, stream, cuts):
    data = noise + stream
    assert flat(feed_in_pieces(WireDecoder(), data, cuts)) == flat(WireDecoder().feed(data))


def test_items_before_the_decision_are_not_lost():
    items = WireDecoder().feed(LINES)
    assert isinstance(items[0], Identity)
    assert not any(isinstance(item, Fault) for item in items)


def test_a_board_whose_lines_are_declared_may_speak_any_form():
    """Where a line is of both, what the layout file says of it goes first."""
    of = Board(name="hut", lines=LineMapping(form="values", time_ms=2, output=(LineOutput(volts=5, amps=4),)))
    items = WireDecoder(of).feed(b"r,100,0,2.4,15.2\n" * 3)
    assert [volts for item in items if isinstance(item, LineReadings) for volts in item.volts_rms.tolist()] == [15.2] * 3
    plain = Board(name="hut", lines=LineMapping(form="values", output=(LineOutput(volts=1, amps=2),)))
    decoder = WireDecoder(plain)
    assert flat(decoder.feed(LINES)) == flat(WireDecoder().feed(LINES))
    assert decoder.form == "lines"
    packed = b"\0" + identity_packet(identity())
    assert flat(WireDecoder(plain).feed(packed)) == flat(WireDecoder().feed(packed))
