"""What a meter between the hots of two supplies means, commons joined: in phase, in anti-phase, no verdict, or stop.

Source: textbook phasors on one axis: the meter shows the difference of the two supplies' own volts in phase, their sum in anti-phase, and
never more. Scatter of a hand-held meter is common practice, no published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.layout.joined_commons import STRIP_OFF
from monitor.planning.terminal_readings import OVER_PLATE, SCATTER_SHARE, SCATTER_VOLTS

LEAST_OWN_VOLTS = 1.5
"""Less than this is a dead supply or a throttle too low to tell anything (judgement, no published source)."""
LEAST_BETWEEN_VOLTS = 1.0
"""Less than this is what an open joint or a dead meter shows as well (judgement, no published source)."""
SLACK = 1.5
"""Of the meter's scatter, added up over three figures: supplies of different make are some degrees apart."""
STOP = f"{STRIP_OFF}, then unplug every supply and find out why before anything is touched or joined"

Verdict = Literal["in-phase", "anti-phase", "no-verdict", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseReading:
    """One round with the meter.

    Attributes:
        own_volts: Of the first supply, its hot against its own common.
        other_volts: The same of the other supply.
        between_volts: Between the two hots.
    """

    own_volts: float
    other_volts: float
    between_volts: float

    @property
    def in_phase_volts(self) -> float:
        """Between the hots in phase: |V1 - V2|."""
        return abs(self.own_volts - self.other_volts)

    @property
    def anti_phase_volts(self) -> float:
        """Between the hots in anti-phase: V1 + V2."""
        return self.own_volts + self.other_volts

    @property
    def slack_volts(self) -> float:
        """How far the figures may be off."""
        return SLACK * (SCATTER_SHARE * (self.own_volts + self.other_volts + self.between_volts) + 3 * SCATTER_VOLTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseVerdict:
    """What readings mean.

    Attributes:
        verdict: The word.
        because: Why, a sentence.
    """

    verdict: Verdict
    because: str


def judge_readings(readings: Sequence[PhaseReading], *, highest_volts: float) -> PhaseVerdict:
    """Judge the readings of one pair of supplies; all of them have to mean the same.

    Args:
        readings: One or more, with the throttles at other marks each time.
        highest_volts: The most that either plate gives.

    Raises:
        LayoutError: A figure is no figure of volts.
    """
    for reading in readings:
        if not all(0 <= volts <= 1000 for volts in (reading.own_volts, reading.other_volts, reading.between_volts)):
            raise LayoutError("volts between 0 and 1000 are needed, without a sign, as the meter shows them")
    judged = [_judge(reading, highest_volts) for reading in readings]
    for word in ("stop", "no-verdict"):
        for each in judged:
            if each.verdict == word:
                return each
    if len({each.verdict for each in judged}) > 1:
        return PhaseVerdict(
            verdict="no-verdict",
            because="One reading says in phase and another anti-phase: a joint is open or loose. Switch off at the strip and look.",
        )
    return judged[-1]


def _judge(reading: PhaseReading, highest_volts: float) -> PhaseVerdict:
    shown = reading.between_volts
    above = next((v for v in (reading.own_volts, reading.other_volts) if v > OVER_PLATE * highest_volts), None)
    if above is not None:
        return PhaseVerdict(verdict="stop", because=f"{above:g} V is more than a supply of {highest_volts:g} V can give. {STOP}.")
    if shown > reading.anti_phase_volts + reading.slack_volts:
        both = f"{shown:g} V between the hots is more than both supplies together give ({reading.anti_phase_volts:g} V)"
        return PhaseVerdict(verdict="stop", because=f"{both}. {STOP}.")
    if min(reading.own_volts, reading.other_volts) < LEAST_OWN_VOLTS:
        return PhaseVerdict(
            verdict="no-verdict",
            because="One supply gives next to nothing: it is off, its breaker is open, or its throttle is too low.",
        )
    return _compare(reading)


def _compare(reading: PhaseReading) -> PhaseVerdict:
    shown, slack = reading.between_volts, reading.slack_volts
    expected = f"{reading.in_phase_volts:.1f} V in phase, {reading.anti_phase_volts:.1f} V in anti-phase"
    fits_in = abs(shown - reading.in_phase_volts) <= slack
    fits_anti = abs(shown - reading.anti_phase_volts) <= slack
    if fits_in and fits_anti:
        return PhaseVerdict(verdict="no-verdict", because=f"The throttles are too low to tell {expected}: turn both up.")
    if fits_in and shown < LEAST_BETWEEN_VOLTS:
        return PhaseVerdict(
            verdict="no-verdict",
            because="Next to nothing between the hots is what an open joint shows, too: set the throttles some 4 V apart and read again.",
        )
    if fits_in or fits_anti:
        word: Verdict = "in-phase" if fits_in else "anti-phase"
        return PhaseVerdict(verdict=word, because=f"{shown:g} V between the hots; expected {expected}.")
    return PhaseVerdict(
        verdict="no-verdict",
        because=f"{shown:g} V between the hots fits neither {expected}: a joint is open, a throttle was moved, or the outputs are not "
        "alike (one DC, one chopped).",
    )
