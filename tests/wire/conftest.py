"""Lines of the tests are few: they are read at once all the same."""

import pytest

from monitor.wire import line_shapes


@pytest.fixture(autouse=True, scope="session")
def _few_lines_at_once():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(line_shapes, "FEWEST_LINES", 1)
        yield
