"""The pipeline (one function of its state and a chunk), and what runs it.

Offered here is what working through a capture needs; who looks at a running watch imports ``live`` or ``picture``, which take a while.
"""

from monitor.runtime.pipeline import Pipeline
from monitor.runtime.summary import Summary, SummaryBuilder

__all__ = ["Pipeline", "Summary", "SummaryBuilder"]
