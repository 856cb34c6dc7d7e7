"""The table of sentences is whole: everything that its rooms say stands in it, everything in it is said, and each was thought about."""

import ast
import re

import pytest

from monitor.standing.states import Late, NoPower
from monitor.words.figures import percent
from monitor.words.sentences import SENTENCES
from tests.test_style import MODULES, ROOT

ROOMS = ("protection", "standing")
TREES = {
    str(path.relative_to(ROOT / "monitor")): ast.parse(path.read_text(encoding="utf-8"))
    for room in ROOMS
    for path in (ROOT / "monitor" / room).glob("*.py")
}
KIND_KEYS = {f"late-{late}" for late in Late.__args__ if late} | {f"dead-{why}" for why in NoPower.__args__ if why}
KIND_KEYS |= {f"{start}-{kind}" for start in ("latched", "do") for kind in ("short", "opening", "overload")}
NOT_YET = {"standing/words.py", "protection/limits.py"}
"""Names of levels, causes and ports; notes on a nameplate, which are no state."""


def strings(name):
    """String constants of a module that are not docstrings."""
    docs = {id(n.value) for n in ast.walk(TREES[name]) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    inside = {id(part) for n in ast.walk(TREES[name]) if isinstance(n, ast.JoinedStr) for part in n.values}
    constants = (n for n in ast.walk(TREES[name]) if isinstance(n, ast.Constant) and isinstance(n.value, str))
    return [n.value for n in constants if id(n) not in docs and id(n) not in inside]


def test_each_sentence_is_said_and_each_that_is_said_stands_in_the_table():
    used = {text for name in TREES for text in strings(name)} | KIND_KEYS
    assert {key for key in SENTENCES if key not in used} == set()
    keys = [
        node.args[0].value
        for tree in TREES.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say" and isinstance(node.args[0], ast.Constant)
    ]
    assert len(keys) > 60
    assert set(keys) <= set(SENTENCES)


def test_no_other_module_of_its_rooms_makes_words():
    """Words of several letters with blanks between them are sentences."""
    for name in TREES:
        if not name.endswith(("thresholds.py", "__init__.py")) and name not in NOT_YET:
            assert [text for text in strings(name) if re.search(r"[a-z]{2,} [a-z]{2,}", text)] == [], name


@pytest.mark.parametrize("key", SENTENCES)
def test_each_was_read_by_somebody_who_wants_to_be_misled(key):
    said = SENTENCES[key]
    assert said.moves
    assert said.guard
    assert not re.search(r"breaker|may pass|!|\bbinds\b|know it", said.text)
    # A hand that is sent to the rails, to a reset or to a fuse is sent to the cause, the switch or the plug first.
    if re.search(r"\breset\b|replace", said.text):
        assert re.search("cause|its fuse has", said.text)
    if re.search("across the rails|from the rails|put in a fuse", said.text):
        assert re.search("Turn .* off (now, then|before)|^Switch the strip off and unplug", said.text)


def test_percent_is_written_in_one_place_and_with_a_blank():
    """ISO 80000-1, 7.1.4 (from memory): a space stands between a number and the sign for per cent."""
    assert percent(0.984) == "98 %"
    found = [str(path.relative_to(ROOT)) for path in MODULES if re.search(r":[0-9.<>]*%\}", path.read_text(encoding="utf-8"))]
    assert found == []
