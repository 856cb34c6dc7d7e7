"""The hall's pages in headless Chromium, over a book that is told by plain letters while the page is open."""

import threading

import pytest

from dashboard.hall.app import hall_server
from tests.dashboard.hall.told import HALL, ToldHall

pytestmark = pytest.mark.browser
WAIT_MS = 60_000


class Running:
    """A told hall whose clock goes on by itself, served."""

    def __init__(self, *names):
        self.hall, self._lock = ToldHall(*names), threading.Lock()
        self.silent, self._stop = (), threading.Event()
        self.server = hall_server(self, HALL, port=0)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        self.server.start()

    def look(self, hall=None, station=None):
        with self._lock:
            return self.hall.look(hall, station)

    def warn(self, name, priority):
        with self._lock:
            self.hall.warn(name, priority)

    def close(self):
        self._stop.set()
        self._thread.join(60)
        self.server.close()

    def _run(self):
        while not self._stop.wait(0.1):  # five times as fast as a clock on the wall
            with self._lock:
                self.hall.run(0.5, silent=self.silent)


@pytest.fixture
def hall(browser):
    running = Running("Ridge", "Harbour", "Mill")
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    running.troubles = []
    page.on("pageerror", lambda error: running.troubles.append(str(error)))
    page.goto(running.server.address)
    running.page = page
    yield running
    context.close()
    running.close()
    assert running.troubles == []


def names(page):
    return page.eval_on_selector_all(".station h2", "found => found.map(one => one.textContent)")


def test_trouble_comes_first_opens_to_its_station_and_back(hall):
    page = hall.page
    page.wait_for_selector('.station[data-level="well"]')
    assert names(page) == ["Harbour", "Mill", "Ridge"]
    hall.warn("Ridge", "high")
    page.wait_for_selector('.station:first-child[data-level="high"] >> text=Ridge')
    page.wait_for_selector(".hall .notice >> text=Ridge, North bench")
    assert page.is_hidden(".notice .buttons")
    page.click('.station a:text-is("Ridge")')
    page.wait_for_selector('[data-supply="0"][data-level="high"] >> text=North bench')
    assert page.inner_text('[data-district="0"] [data-slot="amps"]') == "2.00"
    page.click("text=All stations")
    page.wait_for_selector(".station")


def test_a_station_that_falls_silent_is_never_shown_as_live(hall):
    page = hall.page
    page.wait_for_selector('.station[data-level="well"]')
    hall.silent = ("Mill",)
    page.wait_for_selector('.station[data-level="stale"] >> text=Mill')
    page.goto(f"{hall.server.address}station?hall={HALL}&station=Mill")
    page.wait_for_selector('[data-district="0"][data-level="stale"] >> text=stale')
    page.wait_for_selector('.headline[data-level="stale"]')


def test_finding_hides_the_others(hall):
    page = hall.page
    page.wait_for_selector(".station >> text=Mill")
    page.fill("[data-find] input", "mil")
    page.wait_for_selector(".station >> text=Ridge", state="hidden")
    assert page.is_visible(".station >> text=Mill")


def test_the_wall_turns_through_trouble_and_comes_back(hall):
    page = hall.page
    hall.warn("Harbour", "high")
    page.goto(hall.server.address + "?wall=3")
    page.wait_for_url("**/station?*station=Harbour*wall=3")
    page.wait_for_url("**/?wall=3")


def test_nothing_is_wider_than_a_phone(hall):
    page = hall.page
    hall.warn("Ridge", "high")
    page.set_viewport_size({"width": 320, "height": 640})
    page.wait_for_selector('.station[data-level="high"]')
    assert page.evaluate("document.documentElement.scrollWidth") == 320
