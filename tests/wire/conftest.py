"""Lines of the tests are few: they are read at once all the same."""

import pytest

from monitor.wire import thresholds


@pytest.fixture(autouse=True, scope="session")
def _few_lines_at_once():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(thresholds, "FEWEST_AT_ONCE", 1)
        yield
