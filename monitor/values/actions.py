"""What an operator did: kept with the session like everything else."""

from dataclasses import dataclass
from typing import Literal

ActionKind = Literal["acknowledge", "shelve", "unshelve", "mute", "unmute", "mark"]


PASSES = "pass"
"""A remark with this word is a place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One operator action.

    Attributes:
        kind: What was done. A "mark" is a remark on the time line ("cleaned rails", "train passes the station").
        at_s: When, stream seconds.
        warning_id: Which warning, for acknowledge and shelve; None otherwise.
        until_s: When shelving or muting ends by itself, stream seconds.
        district: Where, for a mark; may be None.
        text: The remark of a mark; empty otherwise.
        by: Who, as the page knows it ("this machine", "link 2").
    """

    kind: ActionKind
    at_s: float
    warning_id: int | None = None
    until_s: float | None = None
    district: str | None = None
    text: str = ""
    by: str = ""

    @property
    def is_landmark(self) -> bool:
        """A remark written as a train passed a place: "passes the station"."""
        return self.kind == "mark" and PASSES in self.text.lower()
