"""What the bench checks still leave open, as sentences for a report."""

import datetime as dt

from monitor.layout import Layout
from monitor.planning.bench_check import check_all
from monitor.planning.plan_file import Plan


def outstanding(layout: Layout, *, today: dt.date) -> list[str]:
    """Open questions, then findings that are not mended.

    Args:
        layout: The layout with what was found so far.
        today: For ages and tests.
    """
    verdicts = check_all(layout, Plan(), today=today)
    found = [f"{verdict.supply}: {question}" for verdict in verdicts for _, question in verdict.open_questions]
    return found + [f"{verdict.supply}: {reason.finding} {reason.remedy}" for verdict in verdicts for reason in verdict.reasons]
