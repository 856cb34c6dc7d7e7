"""The pipeline (one function of its state and a chunk), and what runs it."""

from monitor.runtime.pipeline import Pipeline
from monitor.runtime.summary import Summary, SummaryBuilder

__all__ = ["Pipeline", "Summary", "SummaryBuilder"]
