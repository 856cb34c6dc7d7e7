"""The pipeline (one function of its state and a chunk), and what runs it."""

from monitor.runtime.live import Live
from monitor.runtime.picture import Picture, Wave
from monitor.runtime.pipeline import Pipeline
from monitor.runtime.summary import Summary, SummaryBuilder
from monitor.standing import DistrictNow, StandingWarning

__all__ = ["DistrictNow", "Live", "Picture", "Pipeline", "StandingWarning", "Summary", "SummaryBuilder", "Wave"]
