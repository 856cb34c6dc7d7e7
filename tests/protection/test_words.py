"""Sentences of warnings: what a person reads."""

import msgspec
import pytest

from monitor.layout import Protection
from monitor.protection import words
from monitor.protection.step_source import StepSource
from monitor.protection.words import Use
from monitor.values import Limit, TripForecast
from tests.standing.moments import LAYOUT

AMPS = Limit(kind="winding", place="North bench", amps=10.0, va=None, words="the winding at 10.0 A")
PLATE = Limit(kind="nameplate", place="North bench", amps=None, va=180.0, words="the total of 180 VA")


def test_what_is_left_is_told_in_amps_and_volt_amperes():
    assert Use(limit=AMPS, amps=12.0, va=168.0).left == pytest.approx((-2.0, -28.0))
    assert Use(limit=PLATE, amps=12.0, va=168.0).left == pytest.approx((12.0 / 14.0, 12.0))
    assert Use(limit=PLATE, amps=0.0, va=0.0).left == (0.0, 180.0)
    assert Use(limit=PLATE, amps=12.0, va=90.0).share == 0.5


def test_over_a_limit_says_by_how_much_and_whether_anything_opens():
    use = Use(limit=AMPS, amps=12.0, va=168.0)
    soon = words.over_limit(use, None, TripForecast(in_s=40.0, earliest_s=30.0, latest_s=90.0, by_lap=False), "")
    assert soon.message == (
        "North bench carries 12.0 A, 120 % of the winding at 10.0 A: 2.0 A (28 VA) too much; "
        "its protection opens in about 40 s (30 s to 2 min)."
    )
    assert soon.time_words == "in about 40 s (30 s to 2 min)"
    source = StepSource(district="Outer main", amps=4.0, loads=("Railcar",))
    held = words.over_limit(use, source, None, words.guard(None))
    assert "nothing is known that would switch it off" in held.message
    assert held.message.endswith("It began when the draw of Outer main rose by 4.0 A, about what Railcar would draw.")
    assert "on Outer main" in held.advice
    assert words.over_limit(Use(limit=PLATE, amps=14.0, va=198.0), None, None, "").message.startswith(
        "North bench carries 198 VA"
    )


def test_guards():
    assert "nothing is known" in words.guard(Protection(kind="unknown"))
    assert "nothing will switch it off" in words.guard(Protection(kind="none"))
    assert "may allow that for long" in words.guard(Protection(kind="fuse", rated_amps=5.0))


def test_what_began_it():
    assert words.cause(None) == "."
    crept = StepSource(district="Outer main", amps=2.0, crept=True)
    assert words.cause(crept) == ". It crept up over the last minute, most on Outer main, by 2.0 A."
    unknown = StepSource(district="Outer main", amps=2.0)
    assert words.cause(unknown) == ". It began when the draw of Outer main rose by 2.0 A, which no single known load explains."


@pytest.mark.parametrize(
    ("protection", "said", "advice"),
    [
        (
            Protection(kind="fuse", rated_amps=5.0),
            "its fuse has to be replaced",
            "strip off and unplug North bench, find the cause, then",
        ),
        (Protection(kind="thermal", reset="manual"), "find the cause, then reset it by hand", "throttles of North bench down"),
        (Protection(kind="unknown"), "whether it closes by itself is not known", "throttles of North bench down"),
    ],
)
def test_a_hand_is_sent_to_a_reset_only_where_one_is_needed(protection, said, advice):
    supply = msgspec.structs.replace(LAYOUT.supply[0], protection=protection)
    told = words.opened(supply, None, after_short=False)
    assert said in told.message
    assert advice in told.advice
    assert words.opened(supply, 12.0, after_short=True).message.endswith("lost power; it closes by itself in about 10 s.")
