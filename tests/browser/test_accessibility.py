"""Every page by the rules of axe-core (WCAG 2.2 A and AA, and its best practices): no violation, light and dark, narrow and wide, when all
is well, in an alarm and when figures are stale; and the wall: letters, contrast, nothing that scrolls or moves."""

from pathlib import Path

import pytest

from tests.browser.hall import Hall
from tests.browser.test_live_page import warning

pytestmark = pytest.mark.browser
AXE = Path(__file__).parents[1] / "script" / "node_modules" / "axe-core" / "axe.min.js"
PATHS = ("", "stalls", "review", "before", "help", "district?name=Outer%20main", "enter", "nothing-here", "?wall")
VIOLATIONS = """async () => {
  const found = await axe.run(document, { resultTypes: ["violations"] });
  return found.violations.map(each => each.id + ": " + each.nodes.slice(0, 3).map(node => node.target.join(" ")).join(", "));
}"""
LETTERS = """() => {
  const sizes = new Set();
  for (const each of document.querySelectorAll("body *")) {
    const own = [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim());
    if (own && each.checkVisibility() && !each.closest(".unseen, [aria-hidden=true]")) sizes.add(parseFloat(getComputedStyle(each).fontSize));
  }
  return [...sizes].sort((a, b) => a - b);
}"""
CONTRAST = """async () => {
  const found = await axe.run(document, { runOnly: ["color-contrast-enhanced"], rules: { "color-contrast-enhanced": { enabled: true } } });
  return found.violations.flatMap(each => each.nodes.map(node => node.target.join(" ") + " " + node.any[0].message));
}"""


def looked_at(one, path, scheme, width, height=900):
    page = one.open(path, width=width, height=height, ready=False, color_scheme=scheme, bypass_csp=True)
    page.wait_for_load_state("networkidle") if path == "enter" else page.wait_for_selector("main", state="attached")
    page.wait_for_timeout(700)
    page.add_script_tag(path=AXE)
    return page


@pytest.fixture
def one(show):
    return show(Hall(4))


@pytest.mark.parametrize(("scheme", "width"), [("dark", 1280), ("light", 320), ("light", 1280), ("dark", 320)])
def test_no_page_breaks_a_rule(one, scheme, width):
    found = {}
    for path in PATHS:
        found[path] = looked_at(one, path, scheme, width).evaluate(VIOLATIONS)
        one.close_pages()
    assert {path: each for path, each in found.items() if each} == {}


def test_no_rule_is_broken_in_an_alarm_or_when_figures_are_stale(one):
    one.hall.publish(warnings=(warning(start_s=one.hall.now_s(), trip_in_s=600.0),))
    page = looked_at(one, "", "light", 1280)
    page.wait_for_selector('[data-headline][data-level="high"]')
    assert page.evaluate(VIOLATIONS) == []
    one.hall.talking = False
    page.wait_for_selector('.card[data-level="stale"]')
    assert page.evaluate(VIOLATIONS) == []


@pytest.mark.parametrize("scheme", ["dark", "light"])
@pytest.mark.parametrize("districts", [4, 16])
def test_the_wall_is_read_from_afar(show, scheme, districts):
    one = show(Hall(districts))
    page = looked_at(one, "?wall", scheme, 1920, 1080)
    page.wait_for_selector('[data-district]:not([data-level="stale"])')
    sizes = page.evaluate(LETTERS)
    assert min(sizes) >= 24
    assert len(sizes) <= 5
    # WCAG 2.2, 1.4.6: 7:1, and 4.5:1 for letters that are large, as nearly all of a wall's are.
    assert page.evaluate(CONTRAST) == []
    bottoms = page.evaluate("[...document.querySelectorAll('.card, .supply')].map(e => e.getBoundingClientRect().bottom)")
    assert max(bottoms) <= 1080
    assert min(bottoms) > 0
    assert page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]") == [1920, 1080]
    assert page.locator("button:visible").count() == 0


def test_pages_have_five_sizes_of_letters_and_the_phone_sees_headline_and_district(one):
    page = looked_at(one, "", "dark", 320, 640)
    page.wait_for_selector('[data-district]:not([data-level="stale"])')
    assert len(page.evaluate(LETTERS)) <= 5
    assert page.locator("[data-headline]").bounding_box()["y"] < 120
    assert page.locator('[data-district="0"] .figures').bounding_box()["y"] < 640 - 56
    wide = looked_at(one, "", "dark", 1280, 800)
    assert wide.locator(".head").bounding_box()["height"] <= 56
    for path in ("", "stalls", "review", "before", "help"):
        assert len(looked_at(one, path, "dark", 1280).evaluate(LETTERS)) <= 5, path
