"""The pages' scripts and styles: lint, size, what they compute, and that no face or size of letters stands outside the design system."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ASSETS = ROOT / "dashboard" / "assets"
SCRIPT = ROOT / "tests" / "script"
LINES_LIMIT = 350
SIZES = {"var(--t1)", "var(--t2)", "var(--t3)", "var(--t4)", "var(--t5)", "inherit"}
NOT_LETTERS = {"16px", "1.25vw"}
"""The root's own size, from which all others come: of a page, and of a wall."""


def run(*command):
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_scripts_pass_lint():
    run(str(SCRIPT / "node_modules" / ".bin" / "eslint"), "-c", str(SCRIPT / "eslint.config.mjs"), str(ASSETS))


def test_what_scripts_compute():
    run("node", "--test", str(SCRIPT))


@pytest.mark.parametrize("path", sorted([*ASSETS.rglob("*.js"), *ASSETS.rglob("*.css")]), ids=lambda path: path.name)
def test_scripts_and_styles_are_one_thought_each(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINES_LIMIT


@pytest.mark.parametrize("path", sorted(ASSETS.rglob("*.css")), ids=lambda path: path.name)
def test_letters_have_five_sizes_and_no_face_that_may_be_missing(path):
    text = path.read_text(encoding="utf-8")
    assert set(re.findall(r"font-size: *([^;}]+)", text)) - SIZES - NOT_LETTERS == set()
    assert set(re.findall(r"font-family: *([^;}]+)", text)) == set()


def test_every_script_that_a_page_names_is_there():
    named = {
        name
        for path in (ROOT / "dashboard").rglob("*.py")
        for found in re.findall(r'scripts="([^"]+)"', path.read_text(encoding="utf-8"))
        for name in found.split()
    }
    assert named == {path.stem for path in (ASSETS / "page").glob("*.js")} - {"enter", "start"}
