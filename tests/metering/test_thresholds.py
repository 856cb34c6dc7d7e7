"""The table of figures that decide: each has its reason beside it, stands there alone, and decides something."""

import ast
import re
from pathlib import Path

from monitor.metering import thresholds

TABLE = Path(thresholds.__file__)
OTHERS = {path.name: path.read_text() for path in TABLE.parent.glob("*.py") if path != TABLE}


def test_each_has_a_reason_and_is_used():
    body = ast.parse(TABLE.read_text()).body[1:]
    reasons = 0
    for node, after in zip(body, [*body[1:], None], strict=True):
        reasons += isinstance(after, ast.Expr) and isinstance(node, ast.Assign)
        if isinstance(node, ast.Expr):
            # What stands under several figures is the reason of them all.
            assert len(node.value.value.split()) >= 4
    names = [name for name in vars(thresholds) if name.isupper()]
    assert reasons >= 0.8 * len(names) > 100
    assert isinstance(body[-1], ast.Expr)
    used = "".join(OTHERS.values()) + TABLE.read_text()
    assert [name for name in names if len(re.findall(rf"\b{name}\b", used)) < 2] == []


def test_no_other_module_has_figures_of_its_own():
    figures = re.compile(r"^[A-Z][A-Z_0-9]+ = -?[\d.]", re.M)
    assert {name: found for name, text in OTHERS.items() if (found := figures.findall(text))} == {}
