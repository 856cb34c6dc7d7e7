"""The demo's own layout file: what Before keeps can be tried there, and nothing of it stays."""

import argparse

from dashboard.plan_routes import BenchAnswers, keep_answers
from monitor.cli import demo
from monitor.layout import load_layout


def test_a_bench_check_can_be_tried_and_nothing_of_it_stays(monkeypatch):
    seen = []

    def watched(layout, args, **_more):
        assert load_layout(args.layout) == layout
        supply = layout.supply[0].name
        keep_answers(args.layout, BenchAnswers(supply=supply, answers={"cord": "cracked"}))
        seen.append((args.layout, load_layout(args.layout).supply[0].condition.cord))
        return 0

    monkeypatch.setattr(demo, "watch_layout", watched)
    assert demo.run(argparse.Namespace(headless=True, no_page=True, speed=1.0)) == 0
    ((path, cord),) = seen
    assert cord == "cracked"
    assert not path.parent.exists()
