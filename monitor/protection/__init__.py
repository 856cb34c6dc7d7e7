"""Readings to warnings: live draw against nameplates and the protection that would open."""

from monitor.protection.judge import Judge

__all__ = ["Judge"]
