"""Would that breaker have opened? Against the points that a layout gives of its breaker, and against a recording that opened."""

import itertools

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.protection import Asked
from monitor.runtime import Pipeline
from monitor.runtime.would_open import Opening, WouldOpen, openings
from monitor.values import Chunk
from tests.runtime.streams import packed_stream, sine_counts
from tests.sessions.shows import LAYOUT_TEXT, PORT
from tests.sessions.test_demo_sessions import SHIPPED

CALM_S, HEAVY_S, HEAVY_AMPS = 4.0, 50.0, 12.0


@pytest.fixture(scope="module")
def heavy_bytes():
    """A calm beginning, then 12 A on one output."""
    calm = sine_counts(CALM_S, amps_rms=(1.0, 1.0))
    return packed_stream(np.concatenate([calm, sine_counts(HEAVY_S, amps_rms=(HEAVY_AMPS, 1.0), start_s=CALM_S)]))


def judged(data, text, opened=()):
    layout = parse_layout(text)
    pipeline, would = Pipeline(layout, asked=Asked(would_open=True)), WouldOpen(layout, {"North bench": opened})
    size = len(data) // 60 + 1
    for at in range(0, len(data), size):
        would.take(pipeline.feed(PORT, Chunk(data=data[at : at + size])))
    would.take(pipeline.finish(PORT))
    return [verdict for verdict in would.verdicts() if verdict.supply == "North bench"]


def breaker(rated_amps):
    """The same layout with another rating; its points are multiples of that."""
    assert "rated_amps = 10\n" in LAYOUT_TEXT
    return LAYOUT_TEXT.replace("rated_amps = 10\n", f"rated_amps = {rated_amps}\n")


def test_one_that_is_too_small_opens_when_its_own_points_say(heavy_bytes):
    # 12 A is twice 6 A: 40 s from cold by the points; from what the calm seconds left it takes somewhat less.
    (verdict,) = judged(heavy_bytes, breaker(6.0))
    assert verdict.opens
    assert verdict.recorded_s is None
    assert 25 <= verdict.at_s - CALM_S <= 42
    assert "would have opened here" in verdict.sentence


def test_one_that_is_large_enough_holds(heavy_bytes):
    (verdict,) = judged(heavy_bytes, breaker(16.0))
    assert verdict.at_s is None
    assert verdict.heat < 0.9
    assert "would have held" in verdict.sentence


def test_against_a_recording_that_opened(heavy_bytes):
    (held,) = judged(heavy_bytes, breaker(16.0), [Opening(at_s=30.0, after_short=False)])
    assert (held.opens, held.recorded_s) == (False, 30.0)
    assert "this protection would have held" in held.sentence
    (short,) = judged(heavy_bytes, breaker(16.0), [Opening(at_s=30.0, after_short=True)])
    assert "a short may open it at once" in short.sentence
    (both,) = judged(heavy_bytes, breaker(6.0), [Opening(at_s=48.0, after_short=False)])
    assert (both.opens, both.recorded_s) == (True, 48.0)
    assert "would have opened here" in both.sentence
    assert both.sentence.endswith(f"in the recording it opened {48 - both.at_s:.0f} s later.")


def test_openings_count_once_a_supply():
    """Every district of a supply tells of an opening; the rehearsal's breaker opens once a supply."""
    found = openings(SHIPPED[0])
    assert [round(opening.at_s) for opening in found["North bench"]] == [63]
    assert not found["North bench"][0].after_short
    assert all(later.at_s - one.at_s > 1 for each in openings(SHIPPED[1]).values() for one, later in itertools.pairwise(each))
