"""Halls with a page server each."""

import pytest
from playwright.sync_api import expect

from dashboard.app import PageServer
from tests.browser.hall import Hall

expect.set_options(timeout=60_000)


class Shown:
    """A hall, its server, and pages that note what they ask for and what goes wrong."""

    def __init__(self, browser, hall):
        self.browser, self.hall = browser, hall
        self.server = PageServer(hall, port=0)
        self.server.start()
        self.requests, self.troubles, self.complaints, self._contexts = [], [], [], []

    def open(self, path="", width=1920, height=1080, ready=True, **options):
        context = self.browser.new_context(viewport={"width": width, "height": height}, **options)
        self._contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.on("console", lambda said: self.complaints.append(said.text) if said.type == "error" else None)
        secret = self.server.invitation().split("#")[1]
        context.request.post(f"{self.server.address}enter", data={"secret": secret}, headers={"X-Pilotlamp": "enter"})
        page.goto(self.server.address + path)
        if ready:
            page.wait_for_selector('[data-district]:not([data-level="stale"])')
        return page

    def close_pages(self):
        for context in self._contexts:
            context.close()
        self._contexts.clear()

    def close(self):
        self.close_pages()
        self.server.close()
        self.hall.stop()


@pytest.fixture(scope="session")
def wall(browser):
    """Sixteen districts."""
    shown = Shown(browser, Hall(16).start())
    yield shown
    shown.close()


@pytest.fixture
def shown(wall):
    """The same, with pages closed and everything as it was afterwards."""
    yield wall
    wall.close_pages()
    wall.hall.talking, wall.hall.silent_boards = True, set()
    assert wall.troubles == []


@pytest.fixture
def show(browser):
    """Makes further halls."""
    made = []

    def make(hall):
        made.append(Shown(browser, hall.start()))
        return made[-1]

    yield make
    for one in made:
        one.close()
