"""Readings to warnings: live draw against nameplates and the protection that would open."""

from monitor.protection.judge import Judge
from monitor.protection.trip_rule import Asked

__all__ = ["Asked", "Judge"]
