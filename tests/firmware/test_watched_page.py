"""The live page of a watch on real firmware, read in Chromium as a visitor reads it."""

import re
import signal

import pytest
from playwright.sync_api import expect

from tests.firmware import bench, fernhollow
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = [pytest.mark.avr, pytest.mark.browser]

# The page shows the newest mains cycle: twenty samples. A chopped wave, sampled so thinly, jumps by 8 % from one cycle to the next
# (its mean, tested elsewhere, is right), so the page is read with plain sines.
WAVES = fernhollow.WAVES | {4: volts_wave(11.0, noise_mv=2), 5: amps_wave(1.4, noise_mv=2)}
VOLTS_RMS, AMPS_RMS = (16.0, 14.0, 11.0, 12.0), (3.0, 1.2, 1.4, 0.4)
HALF_A_DIGIT = 0.05
PAGE_LINE = re.compile(r"The page is at (http://\S+)")


@pytest.fixture
def visitor(browser):
    """A Chromium page."""
    page = browser.new_page(viewport={"width": 1920, "height": 1080})
    yield page
    page.close()


def address_of(process):
    for line in process.stdout:
        if match := PAGE_LINE.match(line):
            return match[1]
    raise AssertionError(f"no page: {process.stderr.read()}")


def test_the_page_shows_what_was_injected_and_when_it_is_gone(emulated_board, watch, visitor):
    board = emulated_board(WAVES)
    process = watch(board.pty, "--web-port", 0)
    visitor.goto(address_of(process))
    cards = visitor.locator("[data-district]")
    expect(cards).to_have_count(4, timeout=60_000)
    for at, name in enumerate(fernhollow.DISTRICTS):
        card = cards.nth(at)
        expect(card.get_by_role("heading")).to_have_text(name)
        for slot, injected, full_scale in (
            ("volts", VOLTS_RMS[at], bench.FULL_SCALE_VOLTS_RMS),
            ("amps", AMPS_RMS[at], bench.FULL_SCALE_AMPS_RMS),
        ):
            shown = card.locator(f"[data-slot={slot}]").first
            expect(shown).to_have_text(re.compile(r"^\d+(\.\d+)?$"), timeout=60_000)
            assert float(shown.inner_text()) == pytest.approx(injected, abs=0.01 * full_scale + HALF_A_DIGIT)
    outer_main = cards.nth(0)
    board.set(1, amps_wave(7.5, phase_degrees=-40))
    expect(outer_main.locator("[data-slot=amps]").first).to_have_text(re.compile(r"^7\.[456]$"), timeout=60_000)
    board.stop()
    expect(outer_main).to_have_attribute("data-level", "stale", timeout=60_000)
    expect(outer_main).to_contain_text("stale", timeout=60_000)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=120) == 0
