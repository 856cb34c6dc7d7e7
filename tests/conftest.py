"""What all tests share: a skipped test is a failure, and paths of the tree."""

import pytest


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped: a skipped test is a failure here. Install what it needs or delete it."
    return report
