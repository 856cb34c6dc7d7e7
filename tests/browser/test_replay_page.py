"""A recorded session on the live page in headless Chromium: it is plainly a replay, and page, time and values follow what is pressed."""

import re
from pathlib import Path

import pandas as pd
import pytest
from playwright.sync_api import expect

from monitor.layout import load_layout
from monitor.runtime.replay import Replay
from monitor.sessions import SessionFolder
from monitor.sessions.notice_rows import read_notices
from monitor.values import Cause, Event
from tests.browser.conftest import Shown

pytestmark = pytest.mark.browser
SESSION = SessionFolder(Path(__file__).parents[2] / "recordings" / "2026-05-16_09-30-00_fernhollow-show-layout")
PATIENT_MS = 60_000
WHERE = "[data-replay-where]"
CARDS = "[data-district]"


@pytest.fixture
def played(browser):
    """Makes pages of a replay that stands still at its beginning."""
    made = []

    def make(layout=None):
        replay = Replay(SESSION, layout)
        replay.pause()
        replay.start()
        made.append(Shown(browser, replay))
        return made[-1]

    yield make
    for shown in made:
        shown.close()
        assert shown.troubles == []
        assert shown.complaints == []


def opened(shown, path="", **options):
    page = shown.open(path, ready=False, **options)
    page.set_default_timeout(PATIENT_MS)
    page.wait_for_selector('[data-replay][data-state="paused"]')
    return page


def at_s(page):
    """Second of the session that the page says."""
    hours, minutes, seconds = map(int, re.match(r"(\d+):(\d\d):(\d\d)", page.inner_text(WHERE)).groups())
    return 3600 * hours + 60 * minutes + seconds


def reaches(page, seconds):
    page.wait_for_function(
        """([where, least]) => document.querySelector(where).innerText.slice(0, 7).split(':').reduce((s, n) => 60 * s + +n, 0) >= least""",
        arg=[WHERE, seconds],
    )


def stands(page):
    page.wait_for_selector('[data-replay][data-state="paused"]')


def press(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def seek(page, seconds):
    """As somebody does who moves the slide to a second; arrives standing still."""
    page.evaluate(
        """(at) => {
            const slide = document.querySelector('[data-replay] input[type=range]');
            slide.value = at;
            slide.dispatchEvent(new Event('change'));
        }""",
        seconds,
    )
    page.wait_for_function(
        """([where, at]) => {
            const [h, m, s] = document.querySelector(where).innerText.slice(0, 7).split(':').map(Number);
            return Math.abs(3600 * h + 60 * m + s - at) <= 1 && document.querySelector('[data-replay]').dataset.state === 'paused';
        }""",
        arg=[WHERE, seconds],
    )


def amps_shown(page, district):
    card = page.locator(CARDS).filter(has_text=district)
    return float(card.locator('[data-slot="amps"]').inner_text())


def test_it_plays_at_its_own_and_at_sixty_times_its_speed_and_values_follow(played):
    page = opened(played())
    seek(page, 20)
    press(page, "Go on")
    reaches(page, 22)
    press(page, "60×")
    expect(page.get_by_role("button", name="60×")).to_have_attribute("aria-pressed", "true")
    page.wait_for_selector('[data-replay][data-state="ended"]')
    assert at_s(page) == 66
    # What pandas reads from the session's own readings stands on the cards, as the recording has it before and after the breaker opened.
    readings = pd.read_parquet(SESSION.readings)
    outer = readings[readings.district == "Outer main"].set_index("at_s").amps_rms.sort_index()
    expect(page.locator(CARDS).filter(has_text="Outer main").locator('[data-slot="amps"]')).to_have_text(f"{outer.iloc[-1]:.1f}")
    seek(page, 50)
    # The way there is replayed as well: the cards show it for a moment.
    there, least = (
        float(outer.loc[49:51].median()),
        "() => Math.abs(document.querySelector('[data-district] [data-slot=amps]').innerText - {}) < 0.3",
    )
    page.wait_for_function(least.format(there))
    page.wait_for_timeout(500)
    assert amps_shown(page, "Outer main") == pytest.approx(there, abs=0.3)


def test_pause_step_and_next_event(played):
    page = opened(played())
    press(page, "Go on")
    reaches(page, 1)
    press(page, "Pause")
    stands(page)
    before = page.evaluate("window.pilotlamp.payload.now_s")
    for _ in range(3):
        press(page, "A step")
        stands(page)
    page.wait_for_function("(before) => window.pilotlamp.payload.now_s >= before + 0.55", arg=before)
    assert page.evaluate("window.pilotlamp.payload.now_s") <= before + 1.0
    press(page, "Next event")
    first = min(read_notices(SESSION, "events", Event), key=lambda event: event.start_s)
    assert first.cause is Cause.LOST_CONTACT
    reaches(page, int(first.start_s))
    stands(page)
    page.wait_for_function("(at) => window.pilotlamp.payload.now_s >= at", arg=first.start_s)
    assert page.evaluate("window.pilotlamp.payload.now_s") <= first.start_s + 3.0
    page.get_by_role("link", name="Stalls").click()
    page.wait_for_selector("text=Inner main: lost contact")
    expect(page.locator("#stall-choice option").first).to_have_text("this replay")
    press(page, "To the start")
    page.wait_for_function("(where) => document.querySelector(where).innerText.startsWith('0:00:00')", arg=WHERE)


def test_would_that_breaker_have_opened_by_a_changed_layout_file(played, tmp_path):
    page = opened(played())
    press(page, "60×")
    press(page, "Go on")
    page.wait_for_selector('[data-replay][data-state="ended"]')
    expect(page.locator("[data-replay-verdicts]")).to_be_hidden()
    expect(page.locator("[data-replay]")).to_contain_text("judged by its own layout")
    larger = tmp_path / "larger.toml"
    text = (SESSION.path / "layout.toml").read_text()
    assert text.count("rated_amps = 8\n") == 1
    larger.write_text(text.replace("rated_amps = 8\n", "rated_amps = 16\n"))
    page = opened(played(load_layout(larger)))
    expect(page.locator("[data-replay]")).to_contain_text("judged by another layout file")
    press(page, "60×")
    press(page, "Go on")
    page.wait_for_selector('[data-replay][data-state="ended"]')
    verdicts = page.get_by_role("list", name="What the protections of this layout would have done")
    expect(verdicts).to_contain_text("North bench: it opened here in the recording; this protection would have held")


def test_it_never_passes_for_the_present(played):
    shown = played()
    page = opened(shown)
    expect(page).to_have_title("Replay: Fernhollow show layout")
    # At 37 s the recording has a high warning: a replay shows it and calls nobody.
    seek(page, 40)
    page.wait_for_selector('[data-headline][data-level="high"]')
    expect(page.locator("[data-age]")).to_have_text("replay, not live")
    assert page.locator("[data-alerts] button").count() == 0
    assert page.inner_text("[data-spoken]") == ""
    assert page.get_by_role("navigation").get_by_text("Live").count() == 0
    for path in ("stalls", "review", "before", "district?name=Outer+main"):
        other = opened(shown, path)
        expect(other.locator("[data-replay]")).to_contain_text("A replay, not the present: 16 May 2026")
        expect(other).to_have_title(re.compile("^Replay: "))


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (360, 740), (320, 640)])
def test_nothing_hangs_over_and_the_tag_stays_in_sight(played, width, height):
    page = opened(played(), width=width, height=height)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    expect(page.locator("[data-replay-tag]")).to_be_hidden()
    heights = page.locator("[data-replay] button").evaluate_all("all => all.map(button => button.offsetHeight)")
    assert width > 640 or min(heights) >= 43
    if height < 1000:
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        expect(page.locator("[data-replay-tag]")).to_have_text(re.compile(r"Replay \d:\d\d:\d\d"))


def test_all_of_it_by_keys(played):
    page = opened(played())
    names = []
    page.locator(".skip").focus()
    while "Where in the session" not in names:
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.getAttribute('aria-label') || document.activeElement.innerText"))
        assert len(names) < 30
    assert names[-11:] == [
        "Go on",
        "A step",
        "Next event",
        "To the start",
        "1×",
        "2×",
        "5×",
        "10×",
        "20×",
        "60×",
        "Where in the session",
    ]
    page.keyboard.press("End")
    page.wait_for_selector('[data-replay][data-state="ended"], [data-replay][data-state="paused"]')
    reaches(page, 60)
