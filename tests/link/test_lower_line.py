import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from monitor.link.lower_line import lower_line

ordinates = st.lists(st.floats(-100, 100), min_size=2, max_size=40)


@given(ordinates)
@settings(max_examples=60, deadline=None)
def test_it_is_the_closest_line_below_as_a_linear_program_finds_it(ys):
    # maximise sum(a + b x) subject to a + b x <= y: scipy's own solver stands for the reference.
    xs = np.arange(len(ys), dtype=float)
    (x0, y0), slope = lower_line(list(zip(xs.tolist(), ys, strict=True)))
    line = y0 + slope * (xs - x0)
    assert (line <= np.array(ys) + 1e-6).all()
    best = linprog(
        [-len(xs), -xs.sum()], A_ub=np.column_stack([np.ones(len(xs)), xs]), b_ub=ys, bounds=[(None, None), (None, None)]
    )
    assert line.sum() == pytest.approx(-best.fun, abs=1e-4)


def test_a_single_point_has_no_slope():
    assert lower_line([(3.0, 4.0)]) == ((3.0, 4.0), 0.0)
