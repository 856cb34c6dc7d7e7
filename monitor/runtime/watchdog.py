"""Notices a part that neither works nor fails, and has it begun anew."""

import logging
from collections.abc import Callable
from typing import Protocol

_log = logging.getLogger(__name__)

STALLED_AFTER_S = 5.0
"""Every part goes round several times a second; one that did not for this long stands still."""
RESTARTED_AFTER_S = 20.0
"""And is begun anew after this; well below what the inbox can hold meanwhile. Each further time in a row takes twice as long."""
LONGEST_WAIT_S = 300.0
TOLD_FOR_S = 120.0
"""For how long after a restart people are told of it."""


class Restartable(Protocol):
    """What can stand still."""

    @property
    def beats(self) -> int:
        """Goes up each time it goes round."""

    def restart(self) -> None:
        """Leave behind whatever stands still, and begin again without it."""


class Watchdog:
    """Watches one part.

    Time is counted in the rounds of whoever looks: while the whole program stood still (a suspended computer) nobody looked, and
    nothing is held against any part.

    Args:
        name: The part's name, for people.
        part: The part.
        where: Where its thread is just now, for the log.

    Attributes:
        still_s: Seconds since it last went round.
        restarts: How often it was begun anew.
    """

    def __init__(self, name: str, part: Restartable, where: Callable[[], str] = str) -> None:
        self.name = name
        self.still_s = 0.0
        self.restarts = 0
        self._part = part
        self._where = where
        self._beats = part.beats
        self._wait_s = RESTARTED_AFTER_S
        self._since_restart_s = TOLD_FOR_S

    @property
    def is_stalled(self) -> bool:
        """Whether it stands still."""
        return self.still_s >= STALLED_AFTER_S

    @property
    def trouble(self) -> str:
        """What people should know of it, one sentence; empty where all is well."""
        if self.is_stalled:
            return f"The {self.name} has stood still for {STALLED_AFTER_S:.0f} s and more; it is restarted if that goes on."
        if self._since_restart_s < TOLD_FOR_S:
            return f"The {self.name} stood still and was restarted ({self.restarts} times so far)."
        return ""

    def look(self, gone_s: float) -> None:
        """Look at the part; begin it anew where it has stood still for long.

        Args:
            gone_s: Seconds since the last look, as far as the looker itself was awake.
        """
        was_stalled = self.is_stalled
        self._since_restart_s += gone_s
        if self._part.beats != self._beats:
            if was_stalled:
                _log.warning("the %s goes on after standing still for %.0f s", self.name, self.still_s)
            self._beats = self._part.beats
            self.still_s = 0.0
            if self._since_restart_s > LONGEST_WAIT_S:
                self._wait_s = RESTARTED_AFTER_S
            return
        self.still_s += gone_s
        if self.is_stalled and not was_stalled:
            _log.error("the %s stands still for more than %.0f s, here:\n%s", self.name, STALLED_AFTER_S, self._where())
        if self.still_s >= self._wait_s:
            self._begin_anew()

    def _begin_anew(self) -> None:
        self.restarts += 1
        _log.error("the %s stood still for %.0f s and is restarted", self.name, self.still_s)
        self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)
        self.still_s = self._since_restart_s = 0.0
        self._part.restart()
        self._beats = self._part.beats
