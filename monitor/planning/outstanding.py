"""What the bench checks still leave open, as sentences for a report."""

from monitor.layout import Layout
from monitor.planning.bench_check import Fitness, check_bench


def outstanding(layout: Layout, *, this_year: int) -> list[str]:
    """Questions nobody has answered, then findings that are not mended.

    Args:
        layout: The layout with what was found so far.
        this_year: For the age of supplies.
    """
    verdicts = [check_bench(supply, layout.mains, this_year=this_year) for supply in layout.supply]
    found = [f"{verdict.supply}: {question}" for verdict in verdicts for question in verdict.open_questions]
    reasons = [(verdict.supply, reason) for verdict in verdicts for reason in verdict.reasons if reason.fitness != Fitness.FIT]
    return found + [f"{supply}: {reason.finding} {reason.remedy}" for supply, reason in reasons]
