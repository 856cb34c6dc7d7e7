"""Figures with no more digits than matter."""

import pytest

from monitor.words.figures import percent, seconds, span


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.2, "1 s"), (7.4, "7 s"), (12.0, "10 s"), (63.0, "65 s"), (89.0, "90 s"), (100.0, "2 min"), (600.0, "10 min")],
)
def test_spans_as_a_person_says_them(value, said):
    assert span(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (-1.0, "0 s"), (0.4, "0 s"), (59.4, "59 s"), (60.0, "1 min"), (61.0, "1 min 1 s"), (120.0, "2 min"), (599.0, "9 min 59 s"),
        (601.0, "10 min"), (659.0, "10 min"), (3599.0, "59 min"), (3600.0, "1 h 0 min"), (3660.0, "1 h 1 min"), (7325.0, "2 h 2 min"),
    ],
)  # fmt: skip
def test_a_span_has_no_more_figures_than_matter(value, said):
    assert seconds(value) == said


def test_a_share_that_is_not_known_has_no_figure():
    assert [percent(share) for share in (None, float("nan"), 0.0, 0.994, 1.2)] == ["–", "–", "0 %", "99 %", "120 %"]
