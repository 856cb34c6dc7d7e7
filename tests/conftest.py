"""What all tests share: a skipped test is a failure, and paths of the tree."""

import signal

import pytest
from hypothesis import HealthCheck, settings
from playwright.sync_api import sync_playwright

from tests.browser.hall import CHROMIUM_ARGS, chromium_path

# The same examples in every run, however slow or busy the machine is: a run that fails fails for its code alone.
settings.register_profile("everywhere", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("everywhere")

# A script that starts the tests in the background has them ignore Ctrl-C, and every program started here would inherit that.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped: a skipped test is a failure here. Install what it needs or delete it."
    return report


@pytest.fixture(scope="session")
def browser():
    """One Chromium for all tests of the whole run: Playwright allows one of its loops in a thread."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        yield chromium
        chromium.close()
