"""The Review page in a real browser: from the whole of a session down to samples, by keys, by mouse, on a phone."""

from pathlib import Path

import pytest

from tests.browser.hall import Hall

pytestmark = pytest.mark.browser
RECORDINGS = Path(__file__).parents[2] / "recordings"
WAVES = "2026-05-16_09-30-00_fernhollow-show-layout"
"""The session among those that come with the program that holds waveforms."""
PATIENCE_MS = 60_000


@pytest.fixture
def review(show):
    hall = Hall(4)
    hall.recordings = RECORDINGS
    shown = show(hall)
    yield shown
    assert shown.troubles == []


def opened(review, **options):
    page = review.open(f"review?session={WAVES}", ready=False, **options)
    page.set_default_timeout(PATIENCE_MS)
    page.wait_for_selector('[data-shown="rows"]')
    return page


def press_until(page, key, level):
    """Press until the level of detail is there; each press waits for its own answer."""
    for _ in range(12):
        if page.get_attribute("[data-review]", "data-shown") == level:
            return
        with page.expect_response(lambda answer: "/review/stretch" in answer.url):
            page.keyboard.press(key)
        page.wait_for_function("() => document.querySelector('[data-review]').dataset.shown !== undefined")
    page.wait_for_selector(f'[data-shown="{level}"]')


def test_by_keys_from_the_whole_to_samples_and_back(review):
    page = opened(review)
    page.locator("[data-lanes]").focus()
    press_until(page, "+", "samples")
    page.keyboard.press("Home")
    page.wait_for_selector('[data-shown="rows"]')
    page.keyboard.press("n")
    page.wait_for_selector('[data-shown]:not([data-shown="rows"])')
    assert "Outer main" in page.inner_text("[data-reading]")


def test_by_mouse_a_stretch_is_drawn_out_and_an_event_is_gone_to(review):
    page = opened(review)
    box = page.locator("[data-lanes]").bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 120)
    page.mouse.down()
    page.mouse.move(box["x"] + 320, box["y"] + 120, steps=3)
    page.mouse.up()
    page.wait_for_selector('[data-shown="cycles"]')
    page.click('[data-move="whole"]')
    page.wait_for_selector('[data-shown="rows"]')
    page.locator("[data-goto]").first.click()
    page.wait_for_function("() => document.activeElement.dataset.lanes !== undefined")
    assert review.requests
    assert all(url.startswith((review.server.address, "data:", "blob:")) for url in review.requests)


@pytest.mark.parametrize(("width", "height"), [(360, 740), (320, 640)])
def test_on_a_phone_nothing_hangs_over_and_everything_can_be_touched(review, width, height):
    page = opened(review, width=width, height=height, has_touch=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        "() => [...document.querySelectorAll('#review-main button')].filter(b => b.offsetParent && b.offsetHeight < 43).map(b => b.innerText)"
    )
    assert small == []
    page.tap('[data-move="in"]')
    page.wait_for_selector('[data-shown="cycles"]')
