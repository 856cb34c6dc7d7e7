"""What a port's tap shows of bytes whose truth the test makes itself: sines of known RMS, lines of known figures."""

import numpy as np
import pytest

from monitor.setup.port_tap import MovementWatch, PortTap
from tests.runtime.streams import INTERVAL_S, sine_counts
from tests.wire.bytestreams import health_packet, identity, identity_packet, samples_packet

IDENTITY = identity(channels=4, name="bench-1")


def packed(seconds, volts=(15.0, 12.0), amps=(3.0, 1.0)):
    counts = sine_counts(seconds, volts, amps)
    blocks = [samples_packet(n, counts[n : n + 30], 2 + n // 30) for n in range(0, len(counts), 30)]
    return b"\0" + identity_packet(IDENTITY, 0) + health_packet(0.0, 1) + b"".join(blocks)


@pytest.mark.parametrize("cut", [1 << 20, 997])
def test_a_packed_board_is_shown_with_its_figures_and_two_seconds_to_hold_a_meter_against(cut):
    tap, data = PortTap("usb", 500_000), packed(2.5)
    for at in range(0, len(data), cut):
        tap.feed(data[at : at + cut], 2.5)
    (board,) = tap.view(2.6).boards
    assert board.volts == pytest.approx((15.0, 12.0), rel=0.02)
    assert board.amps == pytest.approx((3.0, 1.0), rel=0.05)
    assert [round(each.samples * INTERVAL_S, 2) for each in board.seen.channels] == [2.0] * 4
    scale = IDENTITY.channels[0].units_per_count
    assert board.seen.channels[0].spread_counts * scale == pytest.approx(15.0, rel=0.02)
    assert board.seen.supply_volts == pytest.approx(4.98)
    assert tap.view(2.6).sentence == 'Board "bench-1", packed form, 500000 baud.'
    silent = tap.view(9.0).boards[0]
    assert silent.volts == (None, None)
    assert silent.seen.channels == (None,) * 4
    assert "Nothing comes just now" in tap.view(9.0).sentence


def test_lines_of_a_sketch_of_its_own_are_read_by_a_guess_that_is_called_one():
    tap = PortTap("usb", 115_200)
    for k in range(12):
        tap.feed(f'{{"volts": {14.0 + 0.01 * k:.2f}, "amps": 2.50}}\n'.encode(), 0.2 * k)
    view = tap.view(2.3)
    (board,) = view.boards
    assert board.board.lines.form == "json"
    assert (board.volts[0], board.amps[0]) == (pytest.approx(14.11), 2.5)
    assert board.seen.channels[1].mean_counts == pytest.approx(250)
    plain = PortTap("usb", 115_200, guesses=False)
    plain.feed(b'{"volts": 14.0, "amps": 2.50}\n' * 12, 1.0)
    assert not plain.is_understood
    assert "by a guess: compare volts and amps with a meter" in view.sentence


def test_a_line_board_that_does_not_say_how_many_outputs_it_has_is_shown_with_all_that_came():
    tap = PortTap("usb", 115_200)
    tap.feed(b"b,shed,1,200\n", 0.0)
    for k in range(6):
        tap.feed(f"r,{200 * k},0,15.0,2.0\nr,{200 * k},2,9.0,1.0\n".encode(), 0.2 * k)
    (board,) = tap.view(1.1).boards
    assert (board.board.name, board.volts, board.amps) == ("shed", (15.0, None, 9.0), (2.0, None, 1.0))
    assert board.seen.channels[2] is None


def test_a_board_that_has_just_begun_shows_figures_and_nothing_to_hold_a_meter_against():
    tap = PortTap("usb", 500_000)
    tap.feed(b"\0" + identity_packet(IDENTITY, 0), 0.0)
    assert tap.view(0.1).boards[0].volts == (None, None)
    tap.feed(packed(0.5), 0.5)
    assert tap.view(0.6).boards[0].volts == pytest.approx((15.0, 12.0), rel=0.02)
    assert tap.view(0.6).boards[0].seen.channels == (None,) * 4


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"", "Hardly anything comes"), (bytes(range(128, 250)) * 20, "another baud rate"), (b"hello\n" * 20, "Text comes")],
)
def test_what_is_not_understood_is_called_what_it_is(data, words):
    tap = PortTap("usb", 500_000)
    tap.feed(data, 1.0)
    assert words in tap.view(1.0).sentence
    assert not tap.is_understood


def moved(*volts_by_look):
    """What a movement watch says after looks a quarter of a second apart."""
    watch = MovementWatch()
    for n, volts in enumerate(volts_by_look):
        tap = PortTap("usb", 500_000)
        tap.feed(packed(0.5, volts), 0.25 * n)
        watch.take({"usb": tap.view(0.25 * n)}, 0.25 * n)
    return watch.latest


def test_the_throttle_that_is_turned_is_named():
    assert moved((8.0, 12.0), (8.0, 12.0), (8.2, 12.1)) is None
    found = moved((8.0, 12.0), (8.0, 12.0), (8.1, 9.0))
    assert (found.board, found.pair) == (("usb", 0), 2)
    assert found.volts == (pytest.approx(12.0, abs=0.2), pytest.approx(9.0, abs=0.2))
    # A neighbour that sags along does not hide it; two that move alike are told as such.
    assert moved((8.0, 12.0), (4.0, 11.0)).pair == 1
    assert moved((8.0, 12.0), (4.0, 8.5)).volts is None
    assert moved((8.0, 12.0), (4.0, 8.5), *[(4.0, 8.5)] * 14) is None
    assert np.isfinite(moved((0.0, 12.0), (6.0, 12.0)).volts[0])
