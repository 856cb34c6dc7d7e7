"""What the page before the show makes of a layout and a plan, as its worker is asked for it."""

import msgspec

from dashboard.pages.before import encoded_plans
from monitor.planning.plan_file import Plan


def plans_for(layout, plan=None, *, may_keep):
    """Everything that the page shows of the files."""
    return encoded_plans(msgspec.json.encode(layout), msgspec.json.encode(plan or Plan()), may_keep)
