"""What coarse readings cannot show is not told: lines of some readings a second, taken from a bench whose events are known."""

from dataclasses import replace
from itertools import pairwise

import msgspec
import numpy as np
import pytest

from monitor.diagnosis.sight import causes_shown
from monitor.layout import Layout
from monitor.rehearsal import Capture, capture, random_scene
from monitor.rehearsal.stream import LineStyle
from monitor.runtime import Pipeline
from monitor.values import Cause, Chunk, ReadingBlock
from tests.diagnosis.benches import Bench, bare, diagnose, layout


def lines_of(block: ReadingBlock, every_s: float) -> ReadingBlock:
    """One reading of a cycle every so often, as a sketch sends it: no DC part."""
    wanted = np.arange(block.end_s[0], block.end_s[-1], every_s)
    rows = np.minimum(np.searchsorted(block.end_s, wanted), len(block) - 1)
    names = [name for name in ReadingBlock.__dataclass_fields__ if isinstance(getattr(block, name), np.ndarray)]
    thinned = replace(block, **{name: getattr(block, name)[rows] for name in names})
    return replace(thinned, volts_mean=np.full_like(thinned.volts_mean, np.nan))


def told(bench: Bench, every_s: float) -> list[tuple[str, str]]:
    return bare(diagnose(lines_of(bench.readings(), every_s), layout(bench.hertz))[0])


def lost_contacts() -> Bench:
    bench = Bench(seconds=60)
    for at_s in (20.0, 31.0, 42.0):
        bench.load[bench.rows(at_s, at_s + 0.45), 0] = 0
    return bench


def test_the_fewer_the_readings_the_fewer_the_causes():
    shown = [set(causes_shown(between_s)) for between_s in (0.01, 0.1, 0.2, 0.5)]
    assert shown[0] == set(Cause)
    assert all(fewer < more for more, fewer in pairwise(shown))
    assert Cause.DIRECTION_BREAK in shown[-1]
    assert not any(cause.is_fault for cause in shown[-1] if cause is not Cause.MAINS_DIP)


def test_a_lost_contact_is_told_from_ten_readings_a_second_and_not_from_five():
    bench = lost_contacts()
    assert ("lost-contact", "Outer main") in told(bench, 0.1)
    assert told(bench, 0.2) == []
    assert told(bench, 0.5) == []


@pytest.mark.parametrize("every_s", [0.2, 0.5])
def test_a_break_by_hand_is_told_from_few_readings(every_s: float):
    bench = Bench(seconds=60)
    bench.fed[bench.rows(30, 31.6), 0] = 0
    assert told(bench, every_s) == [("direction-break", "Outer main")]


@pytest.fixture(scope="module")
def overload() -> Capture:
    """An overload that opens the supply's protection for longer than a hand breaks the volts, as lines of five readings a second."""
    return capture(replace(random_scene("overload", 800), lines=LineStyle(interval_ms=200)))


def openings(played: Capture, chunk_bytes: int) -> list[tuple[str, float, float]]:
    """District, start and when it was told, of every opening."""
    pipeline = Pipeline(msgspec.toml.decode(played.layout, type=Layout))
    found: dict[int, tuple[str, float, float]] = {}
    for at in range(0, len(played.wire), chunk_bytes):
        step = pipeline.feed("bench", Chunk(data=played.wire[at : at + chunk_bytes]))
        for event in step.events:
            if event.cause is Cause.PROTECTION_OPEN:
                found.setdefault(event.id, (event.district, event.start_s, step.now_s))
    return list(found.values())


def test_an_open_protection_is_told_once_it_lasted_longer_than_a_hand_breaks_the_volts(overload: Capture):
    told_at = openings(overload, 200)
    expected = {row["district"] for row in overload.truth["events"] if row["cause"] == "protection-open"}
    assert expected
    assert {district for district, _, _ in told_at} == expected
    assert all(2.9 < now_s - start_s < 4.5 for _, start_s, now_s in told_at)


def test_what_waits_does_not_depend_on_how_the_stream_was_cut(overload: Capture):
    whole = [(district, start_s) for district, start_s, _ in openings(overload, 1 << 20)]
    assert whole == [(district, start_s) for district, start_s, _ in openings(overload, 333)]
