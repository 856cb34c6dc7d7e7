"""The tables of what decides: each figure with its unit, reason and source, used, and a plain number."""

import ast
import re
from pathlib import Path

import pytest

from monitor import protection, standing
from monitor.protection import thresholds as of_protection
from monitor.standing import thresholds as of_standing


@pytest.mark.parametrize(("table", "room", "least"), [(of_protection, protection, 80), (of_standing, standing, 1)])
def test_each_figure_says_what_it_is_and_is_used(table, room, least):
    tree = ast.parse(Path(table.__file__).read_text(encoding="utf-8"))
    figures = {node.targets[0].id: node.value.args for node in tree.body if isinstance(getattr(node, "value", None), ast.Call)}
    assert len(figures) >= least
    text = "".join(path.read_text(encoding="utf-8") for path in Path(room.__file__).parent.glob("*.py"))
    for name, figure in figures.items():
        # A bound such as min(figure, forecast) is the figure itself: it is encoded, recorded and sent as it is.
        assert type(getattr(table, name)) is float, name
        assert len(figure) == 4, name
        assert all(not isinstance(part, ast.Constant) or part.value for part in figure[1:]), name
        assert len(re.findall(rf"\b{name}\b", text)) > 1, name
