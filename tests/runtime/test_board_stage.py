import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.values import FindingKind
from tests.runtime.test_pipeline import joined, steps_of


def findings_of(steps):
    """As they stand at the end: kind, from, to, count."""
    last = {finding.id: finding for step in steps for finding in step.findings}
    return [(f.kind, f.start_s, f.end_s, f.count) for f in last.values()]


def rounds(first_ms, last_ms, step_ms=100):
    return b"".join(b"r,%d,0,15.00,3.00\nr,%d,1,12.00,1.00\n" % (at, at) for at in range(first_ms, last_ms, step_ms))


HURT = b"r,1x0,0,15.00,3.00\n"
IDENTITY = b"b,bench-1,2,100\n"


def test_damage_among_lines_stands_at_the_time_reached_there():
    stream = IDENTITY + rounds(5000, 6000) + HURT + rounds(6000, 16_000) + HURT + rounds(16_000, 17_000) + HURT
    steps = steps_of(stream)
    damage = FindingKind.DAMAGED_BYTES
    np.testing.assert_allclose([times[1:] for times in findings_of(steps)], [(0.9, 0.9, 1), (10.9, 11.9, 2)])
    assert [kind for kind, *_ in findings_of(steps)] == [damage, damage]


def test_a_line_board_that_begins_anew_does_so_between_the_lines_that_show_it():
    steps = steps_of(IDENTITY + rounds(500_000, 504_000) + IDENTITY + rounds(0, 2000) + HURT)
    (restart, damage) = findings_of(steps)
    assert restart[0] is FindingKind.RESTART
    np.testing.assert_allclose(restart[1:], (3.9, 3.9, 1))
    np.testing.assert_allclose(damage[1:3], (5.8, 5.8))


parts = st.one_of(
    st.builds(
        lambda first, count, step: rounds(first, first + count * step, step),
        st.integers(0, 100_000),
        st.integers(1, 40),
        st.just(100),
    ),
    st.sampled_from(
        [HURT, IDENTITY, b"# said\n", b"r,7,0,1.0,1.0*00\n", b"r,99,1,1e1,-2\r\n", b"b,bench-1,4,100\n", b"b,bench-1,2\n"]
    ),
)


@settings(deadline=None)
@given(
    stream=st.lists(parts, min_size=1, max_size=20).map(b"".join), sizes=st.lists(st.integers(1, 3000), min_size=1, max_size=8)
)
def test_findings_and_readings_do_not_depend_on_how_lines_were_cut(stream, sizes):
    whole, cut = steps_of(IDENTITY + stream), steps_of(IDENTITY + stream, sizes)
    assert sorted(findings_of(cut), key=str) == sorted(findings_of(whole), key=str)
    if any(step.readings for step in whole):
        for name in ("start_s", "end_s", "volts_rms", "amps_rms", "watts"):
            np.testing.assert_array_equal(joined(cut, name), joined(whole, name))
