"""Readings and samples to events and patterns: why did it stall?"""

from monitor.diagnosis.diagnosis import Diagnosis

__all__ = ["Diagnosis"]
