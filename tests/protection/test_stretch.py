"""Calm stretches worked through at once against the same ticks judged one by one; and that calm ones are not judged one by one."""

import re

import numpy as np
import pytest

from monitor.layout import parse_layout
from monitor.protection import Judge
from monitor.protection.supply_judge import SupplyJudge
from tests.protection.streams import DISTRICTS, HEAD, PLAIN, block, cut

NONE = "[supply.protection]\nkind = 'none'\n"
FUSE = "[supply.protection]\nkind = 'fuse'\nrated_amps = 10\npoints = [[1.7, 25.0], [3.0, 2.0]]\n"
LIMITED = DISTRICTS.replace('name = "A"\n', 'name = "A"\nmax_amps = 9.5\n').replace(
    'use = "track"\n', 'use = "track"\nfeeder = { awg = 16, one_way_m = 5 }\n', 1
)
LAYOUTS = {
    "thermal": parse_layout(HEAD + PLAIN + DISTRICTS),
    "fuse": parse_layout(HEAD + FUSE + LIMITED),
    "small": parse_layout(HEAD + PLAIN.replace("rated_amps = 10", "rated_amps = 8") + DISTRICTS),
    "none": parse_layout(HEAD + NONE + DISTRICTS),
}
# Volts, amps of the first district at the beginning and at the end of a stretch, and the longest that it lasts.
ACTS = {
    "calm": (14.0, 5.0, 5.0, 40.0),
    "near": (14.0, 8.1, 8.3, 30.0),
    "over": (14.0, 9.4, 9.6, 30.0),
    "creeping": (14.0, 6.0, 13.0, 40.0),
    "falling": (14.0, 16.0, 4.0, 12.0),
    "heavy": (14.0, 15.0, 16.0, 80.0),
    "starting": (13.0, 14.0, 5.0, 3.0),
    "short": (3.0, 35.0, 35.0, 0.6),
    "dark": (0.0, 0.0, 0.0, 30.0),
    "unknown": (np.nan, np.nan, np.nan, 8.0),
}


def scene(seed, acts=16):
    """Stretches of one act after the other, each of some length, five readings a second."""
    rng = np.random.default_rng(seed)
    pieces = [np.tile([14.0, 4.0], (150, 1))]
    for act in rng.choice(list(ACTS), acts):
        volts, begins, ends, longest_s = ACTS[act]
        count = max(1, round(longest_s * rng.uniform(0.1, 1.0) * 5))
        pieces.append(np.stack([np.full(count, volts), np.linspace(begins, ends, count)], axis=1))
        if act in ("short", "heavy") and rng.random() < 0.6:  # what follows one
            pieces.append(np.zeros((round(rng.uniform(5, 150)), 2)))
    volts, amps = np.concatenate([*pieces, np.tile([14.0, 4.0], (60, 1))]).T
    amps = np.abs(amps + rng.normal(0, 0.05, len(amps)) * (amps > 0))
    end_s = 1000.0 + np.arange(1, len(amps) + 1) * 0.2
    return block(end_s, np.stack([volts] * 2, axis=1), np.stack([amps, np.where(volts > 0, 1.0, 0.0)], axis=1))


def followed(layout, whole):
    """The last word about each warning, and all loads every twelve seconds; figures to six digits, for sums may differ in the last."""
    judge, last, loads = Judge(layout), {}, []
    for part in cut(whole, range(60, len(whole), 60)):
        last |= {warning.id: warning for warning in [*judge.feed(part), *judge.tick(float(part.end_s[-1]))]}
        loads.append(re.sub(r"\d+\.\d{7,}", lambda figure: f"{float(figure[0]):.6g}", repr(judge.loads())))
    return last, loads


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("layout", LAYOUTS)
def test_stretches_say_what_ticks_would(layout, seed, monkeypatch):
    whole = scene(seed)
    warnings, loads = followed(LAYOUTS[layout], whole)
    monkeypatch.setattr(SupplyJudge, "is_at_rest", property(lambda _: False))
    assert warnings
    assert (warnings, loads) == followed(LAYOUTS[layout], whole)


@pytest.mark.parametrize(("layout", "amps"), [("thermal", 5.0), ("thermal", 9.4), ("fuse", 8.5), ("none", 5.0), ("none", 9.4)])
def test_what_stays_the_same_is_not_judged_tick_by_tick(layout, amps, monkeypatch):
    """Calm, near or above a rating that was warned of: of ten minutes only the delays and the first seconds are judged singly."""
    judge, singly = Judge(LAYOUTS[layout]), []
    feed = SupplyJudge.feed
    monkeypatch.setattr(SupplyJudge, "feed", lambda self, *tick: (singly.append(tick[0]), feed(self, *tick))[1])
    end_s = np.arange(1, 3001) * 0.2
    judge.feed(block(end_s, np.full((3000, 2), 14.0), np.tile([amps, 0.0], (3000, 1))))
    assert len(singly) < 200
    (board,) = judge._boards.values()
    assert len(board.means) <= 1  # and nothing that is judged is kept
