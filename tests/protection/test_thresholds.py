"""The table of what decides: each figure with its unit, reason and source, and used."""

import re
from multiprocessing import Pipe
from pathlib import Path

from monitor.protection import thresholds

ROOM = Path(thresholds.__file__).parent
TABLE = {name: figure for name, figure in vars(thresholds).items() if isinstance(figure, thresholds.Threshold)}


def test_each_figure_says_what_it_is_and_is_used():
    assert len(TABLE) > 80
    text = "".join(path.read_text(encoding="utf-8") for path in ROOM.glob("*.py"))
    for name, figure in TABLE.items():
        assert all((figure.unit, figure.reason, figure.source)), name
        assert re.search(rf"\bth\.{name}\b", text), name


def test_a_figure_that_came_into_a_step_reaches_the_page_process():
    # A bound such as min(figure, forecast) is the figure itself, and steps go over a pipe.
    ours, theirs = Pipe()
    for name, figure in TABLE.items():
        ours.send({"latest_s": figure})
        assert theirs.recv() == {"latest_s": float(figure)}, name
