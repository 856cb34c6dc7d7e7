from cobs import cobs
from fastcrc import crc16

from monitor.layout import parse_layout
from monitor.runtime import Pipeline
from monitor.runtime.port_record import PortRecord
from monitor.values import Chunk
from tests.layout.fernhollow import FERNHOLLOW
from tests.runtime.streams import packed_stream, plain_layout, sine_counts
from tests.wire.bytestreams import health_packet, identity, identity_packet

PORT = "/dev/ttyUSB0"


def told(chunks, *, port=PORT, layout=None):
    """The status after chunks of (seconds, bytes) went through the pipeline."""
    layout = layout or plain_layout()
    record, pipeline = PortRecord(port, layout, 500_000), Pipeline(layout)
    record.opened(0.0)
    for at_s, data in chunks:
        record.received(at_s, len(data))
        record.take(pipeline.feed(port, Chunk(data=data, received_s=at_s)))
    return record


def test_a_board_that_is_understood_is_named():
    status = told([(0.1, packed_stream(sine_counts(0.1)))]).status()
    assert (status.state, status.board, status.names, status.is_well) == ("reading", "bench-1", ("bench-1",), True)
    assert status.sentence == 'Reading board "bench-1" on /dev/ttyUSB0.'


def test_nonsense_for_some_seconds_is_a_wrong_baud_rate_in_plain_words():
    record = told([(0.1 * k, b"\x93\xff\x07") for k in range(60)])
    status = record.status()
    assert status.state == "wrong-baud"
    assert "make no sense at 500000 baud and are no text" in status.sentence
    assert "115200 for lines" in status.sentence
    assert record.makes_no_sense(6.0)
    assert not status.is_well


def test_a_board_that_turns_to_nonsense_is_given_more_time():
    good = [(0.1, packed_stream(sine_counts(0.1)))]
    noise = [(0.2 + 0.1 * k, b"\x93\xff\0") for k in range(130)]
    assert told(good + noise[:80]).status().state == "reading"
    status = told(good + noise).status()
    assert status.state == "wrong-baud"


def test_a_board_that_the_layout_does_not_have_is_a_stranger():
    stranger = identity(channels=4, number=9, name="visitor")
    status = told([(0.1, b"\0" + identity_packet(stranger))]).status()
    assert (status.state, status.board, status.names) == ("stranger", None, ("visitor",))
    assert 'calls itself "visitor", number 9' in status.sentence
    assert '"bench-1" (number 0)' in status.sentence


def test_another_version_is_said():
    raw = bytearray(cobs.decode(identity_packet(identity(channels=4))[:-1]))
    raw[4] = 2
    raw[-2:] = crc16.ibm_3740(bytes(raw[:-2])).to_bytes(2, "little")
    other = b"\0" + cobs.encode(bytes(raw)) + b"\0"
    status = told([(0.5 * k, other) for k in range(12)]).status()
    assert status.state == "stranger"
    assert "another version" in status.sentence


def test_missing_channels_are_said_and_the_rest_goes_on():
    status = told([(0.1, b"\0" + identity_packet(identity(channels=2)))]).status()
    assert status.state == "reading"
    assert 'Board "bench-1" has 2 channels, numbered from 0, but the layout file uses channel 2, 3' in status.sentence


def test_another_rate_than_the_layouts_is_said():
    record = told([])
    record.baud_changed(115_200)
    record.take(Pipeline(plain_layout()).feed(PORT, Chunk(data=packed_stream(sine_counts(0.1)), received_s=0.2)))
    assert "It sends at 115200 baud although the layout file says 500000: write baud = 115200 there." in record.status().sentence


def test_silence_after_data_names_the_board():
    record = told([(0.1, packed_stream(sine_counts(0.1)))])
    record.received(1.0, 0)
    assert record.status().state == "reading"
    record.received(2.5, 0)
    status = record.status()
    assert (status.state, status.since_s, status.last_data_s) == ("silent", 2.5, 0.1)
    assert 'board "bench-1" says nothing' in status.sentence


def test_a_rate_that_was_right_is_doubted_after_a_minute_of_noise_and_told_after_ten_seconds():
    noise = [(0.2 + 0.1 * k, b"\x93\xff\x07") for k in range(700)]
    for seconds, state, is_searched in ((9, "reading", False), (30, "wrong-baud", False), (65, "wrong-baud", True)):
        record = told([(0.1, packed_stream(sine_counts(0.1))), *noise[: 10 * seconds]])
        assert (record.status().state, record.makes_no_sense(float(seconds))) == (state, is_searched)


def test_text_that_does_not_parse_is_called_that_and_no_board_is_said_to_be_read():
    record = told([(0.1 * k, b"12.3,1.5\n") for k in range(20)])
    assert record.status().sentence == "Bytes come from /dev/ttyUSB0; looking for what they mean."
    record = told([(0.1 * k, b"12.3,1.5\n") for k in range(60)])
    status = record.status()
    assert status.state == "not-understood"
    assert "The last one is: 12.3,1.5 - a reading begins with r" in status.sentence
    assert not record.makes_no_sense(6.0)


def test_samples_without_an_identity_are_called_that_whatever_the_boards_health_says():
    stream = packed_stream(sine_counts(6.0), with_head=False)
    pieces = [stream[at : at + 600] for at in range(0, len(stream), 600)]
    chunks = [
        (0.06 * k, (b"\0" if not k else b"") + piece + (health_packet(k) if k % 15 == 14 else b""))
        for k, piece in enumerate(pieces)
    ]
    status = told(chunks).status()
    assert status.state == "not-understood"
    assert "no identity packet" in status.sentence


def test_the_rate_that_text_was_found_at_is_told():
    record = told([(0.1 * k, b"\x93\xff\x07\x81") for k in range(50)])
    assert record.makes_no_sense(5.0)
    record.baud_changed(9600)
    pipeline = Pipeline(plain_layout())
    for k in range(50, 90):
        record.received(0.1 * k, 9)
        record.take(pipeline.feed(PORT, Chunk(data=b"12.3,1.5\n", received_s=0.1 * k)))
    assert "at 9600 baud" in record.status().sentence
    assert "write baud = 9600 in the layout file, which says 500000" in record.status().sentence


def test_a_board_that_sends_seldom_is_not_silent_between_its_lines():
    lines = '[board.lines]\nform = "values"\ninterval_ms = 5000\n[[board.lines.output]]\nvolts = 1\namps = 2\n'
    text = (
        FERNHOLLOW.split("[calibration")[0]
        .replace("far_volts_channel = 4\n", "")
        .replace("baud = 500000\n", "baud = 9600\n" + lines)
    )
    record = told([(5.0 * k, b"12.3,1.5\n") for k in range(4)], layout=parse_layout(text))
    record.received(20.0, 0)
    assert record.status().state == "reading"
    record.received(28.0, 0)
    assert record.status().state == "silent"
