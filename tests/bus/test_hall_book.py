"""The hall's book: what stands, how old it is and how bad, from messages that come late, twice and out of order."""

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.bus.broker import Address
from monitor.bus.hall_book import HallBook
from monitor.bus.hall_station import StationClock
from monitor.bus.hall_values import SILENT_AFTER_S, STALE_AFTER_S
from monitor.bus.payloads import Received
from tests.bus.bodies import BEGAN, event, outline, presence, readings, warning

LATER_BOOT = "fedcba9876543210"
NOW = BEGAN + 1


def told(book, body, at=NOW, kind="readings", station="Fernhollow", **more):
    book.take(Received(address=Address(hall="Hall", station=station, kind=kind), body=body, **more), at)


def view(book, at=NOW, station="Fernhollow"):
    return book.station("Hall", station, at)


def test_a_station_in_full():
    book = HallBook()
    told(book, outline(seq=1))
    told(book, readings(seq=2, first=1, amps=3.0, share=0.4))
    told(book, presence(seq=3))
    seen = view(book)
    assert (seen.title, seen.state, seen.trouble, seen.reasons) == ("Fernhollow show layout", "here", "well", ())
    inner = next(district for district in seen.districts if district.name == "Inner main")
    assert (inner.supply, inner.limit_amps, inner.amps, inner.is_stale) == ("North bench", 10.0, 3.0, False)
    assert inner.recent == ((0.0, 15.0, 3.0),)
    assert [(supply.name, supply.plate_va, supply.share) for supply in seen.supplies] == [("North bench", 180.0, 0.4)]


def test_worst_first():
    book = HallBook()
    for k, station in enumerate(("well", "near", "high", "medium", "lost", "gone")):
        told(book, outline(seq=1, title=station), station=station)
        told(book, readings(seq=2, first=1, share=0.75 if station == "near" else 0.2), station=station)
        if station in ("high", "medium"):
            told(book, warning(seq=3, number=k, priority=station), station=station)
        told(book, presence(seq=1, state="lost"), station=station) if station == "lost" else None
        told(book, presence(seq=4, state="gone"), station=station) if station == "gone" else None
    assert [station.name for station in book.stations(NOW)] == ["high", "lost", "medium", "near", "well", "gone"]
    assert book.stations(NOW, hall="elsewhere") == ()


def test_a_warning_tells_how_long_is_left_now_and_not_when_it_rose():
    """It rose at 10 s with 25 s left."""
    book = HallBook()
    told(book, outline(seq=1))
    rose = warning(seq=2, message="North bench will open in about 25 s.", time_words="in about 25 s")
    told(book, rose, at=BEGAN + 10)
    for at_s, words in ((10, "in about 25 s"), (22, "in about 15 s"), (29, "in about 6 s"), (34.5, "at any moment")):
        seen = view(book, BEGAN + at_s)
        assert [note.message for note in seen.warnings] == [f"North bench will open {words}."]
        assert seen.reasons[0] == f"North bench will open {words}."


@given(st.permutations([warning(seq=7), warning(seq=9, end_s=20.0), warning(seq=7), presence(seq=8, standing=(warning(seq=7),))]))
def test_a_warning_that_cleared_stays_cleared_in_any_order(bodies):
    book = HallBook()
    for body in bodies:
        told(book, body)
    assert view(book).warnings == ()
    assert [note.seq for note in view(book).past_warnings] == [9]


def test_presence_tells_whoever_comes_late_what_stands_and_what_no_longer_does():
    book = HallBook()
    told(book, presence(seq=20, standing=(warning(seq=10), warning(seq=11, number=2))), retained=True)
    assert [note.id for note in view(book).warnings] == [1, 2]
    told(book, presence(seq=30, standing=(warning(seq=11, number=2),)))
    assert [note.id for note in view(book).warnings] == [2]
    told(book, warning(seq=12, number=1))  # waited on the disk; presence 30 was made later and no longer names it
    assert [note.id for note in view(book).warnings] == [2]


def test_a_new_start_ends_what_stood_and_what_waited_from_the_old_one_changes_nothing():
    book = HallBook()
    told(book, outline())
    told(book, warning(seq=7))
    told(book, readings(seq=8, first=100, amps=9.0), at=BEGAN + 51)
    # The station begins anew, its clock set back by an hour meanwhile.
    told(book, outline(seq=1, boot=LATER_BOOT, made_unix_s=BEGAN - 3600), at=BEGAN + 60)
    told(book, readings(seq=9, first=101, amps=8.0), at=BEGAN + 61)
    told(book, warning(seq=10, number=5), at=BEGAN + 61)
    told(book, event(seq=11), at=BEGAN + 61, kind="events")
    seen = view(book, at=BEGAN + 61)
    assert seen.warnings == ()
    assert {note.id for note in seen.past_warnings} == {1, 5}
    assert [happened.note.seq for happened in seen.events] == [11]
    assert all(district.amps is None for district in seen.districts)
    # The old start's last will comes late.
    told(book, presence(seq=1, state="lost"), at=BEGAN + 62)
    assert view(book, at=BEGAN + 62).state == "here"
    told(book, presence(seq=2, boot=LATER_BOOT, state="lost"), at=BEGAN + 62)
    assert view(book, at=BEGAN + 62).state == "lost"


def test_two_computers_of_one_name_are_said():
    book = HallBook()
    for boot, seq in (("0" * 16, 1), ("1" * 16, 1), ("1" * 16, 2)):
        told(book, presence(seq=seq, boot=boot))
    assert not view(book).is_double  # one began anew
    told(book, presence(seq=2, boot="0" * 16))
    assert any("--station" in reason for reason in view(book).reasons)


def test_age_does_not_depend_on_the_station_s_clock():
    for ahead_s in (-5000.0, 0.0, 70.0):
        book = HallBook()
        told(book, outline(seq=1, made_unix_s=BEGAN + 1.0), at=BEGAN + 1.02 - ahead_s)
        told(book, readings(seq=2, first=1), at=BEGAN + 1.3 - ahead_s)
        seen = view(book, at=BEGAN + 2.02 - ahead_s)
        assert abs(seen.age_s - 1.0) < 1e-6
        assert abs(seen.clock_ahead_s - (ahead_s - 0.02)) < 1e-6
        assert any("clock" in reason for reason in seen.reasons) == (abs(ahead_s) > 2)


def test_figures_grow_stale_and_a_station_silent():
    book = HallBook()
    told(book, outline())
    told(book, readings(seq=6, first=1))
    assert (view(book).districts[0].is_stale, view(book).districts[0].trouble) == (False, "well")
    aged = view(book, at=NOW + STALE_AFTER_S + 0.1)
    assert aged.districts[0].is_stale
    assert (aged.state, aged.trouble) == ("here", "silent")
    assert view(book, at=NOW + SILENT_AFTER_S + 0.1).state == "silent"


def test_what_waited_on_the_disk_is_not_shown_as_live():
    book = HallBook()
    told(book, outline(made_unix_s=BEGAN + 1000), at=BEGAN + 1000)
    told(book, readings(seq=2, first=1), at=BEGAN + 1000)
    told(book, readings(seq=3, first=3), at=BEGAN + 1000)
    told(book, readings(seq=2, first=1, amps=77.0), at=BEGAN + 1000)
    seen = view(book, at=BEGAN + 1000)
    assert abs(seen.age_s - 998.0) < 1e-6
    assert seen.districts[0].is_stale
    assert [amps for _, _, amps in seen.districts[0].recent] == [2.0, 2.0]


def test_a_board_s_lines_are_outputs_without_nameplates():
    book = HallBook()
    told(book, b"b,quarry,2,500\nr,1000,0,14.5,1.25\nr,1000,1,16.0,0.5,7.9", kind="lines", station="bench-2")
    told(book, b"\xff\xfe,nonsense\n" * 50, kind="lines", station="bench-2")
    seen = view(book, station="bench-2")
    assert seen.is_board
    assert [(district.name, district.volts, district.amps, district.watts) for district in seen.districts] == [
        ("output 0", 14.5, 1.25, None), ("output 1", 16.0, 0.5, 7.9),
    ]  # fmt: skip
    assert view(book, at=NOW + 3, station="bench-2").districts[0].is_stale


def test_names_are_bounded():
    book = HallBook()
    for k in range(40):
        told(book, readings(seq=k, first=k, districts=tuple(f"d{k} {n}" for n in range(50))))
        told(book, warning(seq=1000 + k, number=k), kind="warnings")
        for n in range(20):
            told(book, event(seq=2000 + 20 * k + n, number=20 * k + n), kind="events")
    seen = view(book)
    assert len(seen.districts) <= 256
    assert len(seen.events) <= 50


@settings(max_examples=60)
@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 3)), min_size=1, max_size=60), st.floats(-1e4, 1e4))
def test_the_offset_is_the_smallest_delay_of_the_last_minute(messages, offset_s):
    clock = StationClock()
    messages = sorted(messages)
    for at_s, delay_s in messages:
        clock.take(NOW + at_s - offset_s - delay_s, NOW + at_s)
    last_s = messages[-1][0]
    # The definition itself, over a window that is whole to one bucket.
    least = [min(delay for at_s, delay in messages if at_s > last_s - window_s) for window_s in (60.0, 55.0)]
    assert min(least) - 1e-5 <= clock.behind_s - offset_s <= max(least) + 1e-5


_BOOTS = st.sampled_from(["0" * 16, "1" * 16, "2" * 16])
_SEQS, _TIMES = st.integers(0, 2**53 - 1) | st.integers(0, 5), st.floats(0, 1e11) | st.just(NOW)
_HEADS = st.fixed_dictionaries({"boot": _BOOTS, "seq": _SEQS, "made_unix_s": _TIMES})
_LETTERS = st.one_of(
    st.builds(lambda head, first, amps: readings(first=first, amps=amps, **head), _HEADS, _SEQS, st.none() | st.floats(-1e6, 1e6 - 1)),
    st.builds(lambda head, k, end_s: warning(number=k, end_s=end_s, **head), _HEADS, st.integers(0, 30), st.none() | st.floats(-1e9, 1e9)),
    st.builds(lambda head, k: event(number=k, **head), _HEADS, st.integers(0, 30)),
    st.builds(lambda head: outline(**head), _HEADS),
    st.builds(
        lambda head, state, notes: presence(state=state, standing=tuple(warning(number=k, seq=k) for k in notes), **head),
        _HEADS, st.sampled_from(["here", "gone", "lost"]), st.lists(st.integers(0, 30), max_size=20),
    ),
    st.binary(max_size=200),
)  # fmt: skip


@settings(max_examples=150)
@given(st.lists(st.tuples(_LETTERS, st.booleans(), st.floats(0, 100)), max_size=30))
def test_whatever_is_told_in_whatever_order_there_is_a_view_with_nothing_from_the_future(bodies):
    book, at = HallBook(), NOW
    for body, retained, later_s in bodies:
        at += later_s
        name = "board" if isinstance(body, bytes) else "Fernhollow"
        told(book, body, at=at, station=name, retained=retained)
        for seen in book.stations(at):
            assert all(age is None or age >= 0 for age in (seen.age_s, seen.heard_s_ago, *(d.age_s for d in seen.districts)))
            assert (seen.trouble == "well") == (seen.reasons == ())
            assert len({note.id for note in seen.warnings}) == len(seen.warnings)
            assert all(note.end_s is None for note in seen.warnings)
