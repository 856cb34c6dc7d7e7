"""Gates on the shape of the code: sizes, and names that say nothing."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MODULES = sorted(path for room in ("monitor", "dashboard") for path in (ROOT / room).rglob("*.py"))
MODULE_LINES_LIMIT = 350
FUNCTION_LINES_LIMIT = 40
VAGUE_NAMES = {"utils", "util", "helpers", "helper", "common", "base", "manager", "misc", "tools"}
VISIBLE_TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "monitor", "firmware_notes", "dashboard", "tests", "recordings",
}  # fmt: skip


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_module_and_function_sizes(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MODULE_LINES_LIMIT, "split this module: one module, one noun"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert node.end_lineno is not None
            length = node.end_lineno - node.lineno + 1
            assert length <= FUNCTION_LINES_LIMIT, f"{node.name} has {length} lines: split it"


def test_every_class_name_stands_once():
    seen = {}
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                seen.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert {name: places for name, places in seen.items() if len(places) > 1} == {}


def test_no_vague_module_names():
    assert [path for path in MODULES if path.stem in VAGUE_NAMES] == []


def test_top_level_is_what_the_project_promises():
    tracked = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - {"build", "dist"}
    tracked = {name for name in tracked if not name.endswith(".egg-info")}
    assert tracked <= VISIBLE_TOP_LEVEL
