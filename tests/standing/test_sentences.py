"""The table of sentences is whole: everything that the room says stands in it, everything in it is said, and each was thought about."""

import ast
import re
from pathlib import Path

import pytest

from monitor.standing import sentences, thresholds
from monitor.standing.sentences import SENTENCES
from monitor.standing.states import Late, NoPower

ROOM = Path(sentences.__file__).parent
TREES = {path.name: ast.parse(path.read_text(encoding="utf-8")) for path in ROOM.glob("*.py")}
KIND_KEYS = {f"late-{late}" for late in Late.__args__ if late} | {f"dead-{why}" for why in NoPower.__args__ if why}
KIND_KEYS |= {f"{start}-{kind}" for start in ("latched", "do") for kind in ("short", "opening", "overload")}


def strings(name):
    """String constants of a module that are not docstrings."""
    docs = {id(n.value) for n in ast.walk(TREES[name]) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    inside = {id(part) for n in ast.walk(TREES[name]) if isinstance(n, ast.JoinedStr) for part in n.values}
    constants = (n for n in ast.walk(TREES[name]) if isinstance(n, ast.Constant) and isinstance(n.value, str))
    return [n.value for n in constants if id(n) not in docs and id(n) not in inside]


def test_each_sentence_is_said_and_each_that_is_said_stands_in_the_table():
    used = {text for name in TREES if name != "sentences.py" for text in strings(name)} | KIND_KEYS
    assert {key for key in SENTENCES if key not in used} - {"late-none-yet"} == set()
    keys = [
        node.args[0].value
        for tree in TREES.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say" and isinstance(node.args[0], ast.Constant)
    ]
    assert len(keys) > 30
    assert set(keys) <= set(SENTENCES)


def test_no_other_module_of_the_room_makes_words():
    """Words of several letters with blanks between them are sentences; single words of causes, ports and levels are tables of their own."""
    for name in ("assess.py", "headline.py", "notices.py"):
        assert [text for text in strings(name) if re.search(r"[a-z]{2,} [a-z]{2,}", text)] == []


@pytest.mark.parametrize("key", SENTENCES)
def test_each_was_read_by_somebody_who_wants_to_be_misled(key):
    said = SENTENCES[key]
    assert said.moves
    assert said.guard
    assert not re.search(r"breaker|may pass|!|\bbinds\b|know it", said.text)
    # A hand that is sent to the rails or to a reset is sent to the cause first.
    if re.search(r"\breset\b", said.text):
        assert "cause" in said.text


def test_each_threshold_says_what_it_is_and_is_used():
    text = "".join(path.read_text(encoding="utf-8") for path in ROOM.glob("*.py"))
    for name, figure in vars(thresholds).items():
        if isinstance(figure, thresholds.Threshold):
            assert all((figure.unit, figure.reason, figure.source)), name
            assert re.search(rf"\bth\.{name}\b", text), name
