from monitor.link.listen import listen
from tests.runtime.fake_source import FakeSource
from tests.wire.bytestreams import identity, identity_packet

BAUDS = (500_000, 115_200, 9_600)


def heard(send, reads=1000):
    """What is heard of a board that sends ``send`` at 115200 baud and looks like noise at any other rate."""
    waiting = iter(send)

    def sent(source):
        return next(waiting, b"") if source.baud == 115_200 else b"\x93\xff\x81"

    source = FakeSource([sent] * reads)
    source.open()
    return listen(source, BAUDS, source.now_s)


def test_packed_boards_are_heard_at_their_rate_with_their_numbers():
    packets = [b"\0" + identity_packet(identity(channels=4, number=n, name=f"bench-{n}")) for n in (1, 0)]
    found = heard(packets)
    assert found.baud == 115_200
    assert [(board.number, board.name, len(board.channels)) for board in found.boards] == [(0, "bench-0", 4), (1, "bench-1", 4)]


def test_a_line_board_that_never_says_who_it_is_is_known_by_its_outputs():
    found = heard([b"r,100,0,15.0,1.0\nr,100,1,12.0,0.5\n", b"r,200,2,12.0,0.5\n"])
    (board,) = found.boards
    assert (board.name, board.form, [channel.quantity for channel in board.channels]) == ("", "lines", ["V", "A"] * 3)


def test_a_line_board_that_says_who_it_is():
    (board,) = heard([b"b,loft,4,100\n", b"r,1,0,1,1\n"]).boards
    assert (board.name, len(board.channels)) == ("loft", 8)


def test_nothing_that_makes_sense_is_nothing():
    assert heard([]) is None
