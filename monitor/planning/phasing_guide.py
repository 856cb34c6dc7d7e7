"""Phasing supplies with a meter: what to do, what to expect, and what a reading between two hot posts means with the commons joined.

Source: textbook phasors on one axis: the meter shows the difference of the two supplies' own volts in phase, their sum in anti-phase, and
never more. Scatter of a hand-held meter is common practice, no published source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.errors import LayoutError
from monitor.layout import Layout, Supply
from monitor.layout.joined_commons import COMMONS, STRIP_OFF
from monitor.planning.bench_check import BenchVerdict, refused
from monitor.planning.plan_file import Plan, Terminals
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
        between_volts: Between the two hot posts.
    """

    own_volts: float
    other_volts: float
    between_volts: float

    @property
    def in_phase_volts(self) -> float:
        """Between the hot posts in phase: |V1 - V2|."""
        return abs(self.own_volts - self.other_volts)

    @property
    def anti_phase_volts(self) -> float:
        """Between the hot posts in anti-phase: V1 + V2."""
        return self.own_volts + self.other_volts

    @property
    def slack_volts(self) -> float:
        """How far the figures may be off."""
        return SLACK * (SCATTER_SHARE * (self.own_volts + self.other_volts + self.between_volts) + 3 * SCATTER_VOLTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseVerdict:
    """What readings mean."""

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
        both = f"{shown:g} V between the hot posts is more than both supplies together give ({reading.anti_phase_volts:g} V)"
        return PhaseVerdict(verdict="stop", because=f"{both}. {STOP}.")
    if min(reading.own_volts, reading.other_volts) < LEAST_OWN_VOLTS:
        return PhaseVerdict(
            verdict="no-verdict",
            because="One supply gives next to nothing: it is off, its protection is open, or its throttle is too low.",
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
            because="Next to nothing between the hot posts is what an open joint shows, too: set the throttles 4 V apart and read again.",
        )
    if fits_in or fits_anti:
        word: Verdict = "in-phase" if fits_in else "anti-phase"
        return PhaseVerdict(verdict=word, because=f"{shown:g} V between the hot posts; expected {expected}.")
    return PhaseVerdict(
        verdict="no-verdict",
        because=f"{shown:g} V between the hot posts fits neither {expected}: a joint is open, a throttle was moved, or the outputs are not "
        "alike (one DC, one chopped).",
    )


TEST_SHARE = 0.5
"""Of the highest volts: where the first throttle stands at the test; the other stands at half of that."""
FOLLOW_SHARE = 0.25
"""Of the first supply's volts: by how much the other throttle is moved to see the reading follow."""
CAUTIONS = (COMMONS, "Low-voltage side only. Local codes, the makers' instructions and a licensed practitioner come first.")


def phase_verdict(
    layout: Layout, verdicts: Sequence[BenchVerdict], readings: Sequence[PhaseReading], pair: Sequence[str] = ()
) -> PhaseVerdict:
    """What readings of a pair of AC supplies, by default of all, mean; danger first, then whether there may be a verdict at all.

    Raises:
        LayoutError: A figure is no figure of volts.
    """
    supplies = [supply for supply in ac_supplies(layout) if not pair or supply.name in pair]
    highest = max((supply.max_volts for supply in supplies), default=max(supply.max_volts for supply in layout.supply))
    judged = judge_readings(readings, highest_volts=highest)
    if judged.verdict == "stop":
        return judged
    if len(supplies) < 2:
        return PhaseVerdict(verdict="no-verdict", because="The layout has fewer than two AC supplies: there is nothing to phase.")
    unfit = {name: why for name, why in refused(verdicts).items() if name in [supply.name for supply in supplies]}
    if unfit:
        name, why = next(iter(unfit.items()))
        return PhaseVerdict(verdict="no-verdict", because=f"{name} gets no verdict, and is not to be plugged in. {why}")
    return judged


def ac_supplies(layout: Layout) -> list[Supply]:
    """Supplies whose phase means something."""
    return [supply for supply in layout.supply if supply.current == "ac"]


def meaning(verdict: PhaseVerdict, supplies: Sequence[Supply], plan: Plan) -> str:
    """What to do after a verdict."""
    words = {
        "in-phase": "In phase: switch the strip off, mark both plugs the same way up, and keep them so.",
        "no-verdict": "No verdict: nothing is joined and no train crosses the gap.",
        "stop": "STOP.",
        "anti-phase": "In anti-phase: no train crosses the gap, and the wire between the commons comes off before anything else. "
        + " ".join(ways_to_turn(supply, plan) for supply in supplies),
    }
    return f"{words[verdict.verdict]} {verdict.because}"


def ways_to_turn(supply: Supply, plan: Plan) -> str:
    """How one supply can be turned round: by its plug, by the pair of wires of an output that shares no post, or not at all."""
    condition = supply.condition
    fixed_plug = condition is not None and (condition.polarised_plug is True or condition.earthed is True)
    terminals = plan.terminals_of(supply.name)
    ways = [] if fixed_plug else ["turn its mains plug round, if it is made to go in either way"]
    if terminals is not None and terminals.alone:
        ways.append(f"swap both wires of output {' or '.join(terminals.alone)}, which shares no post with another output")
    if not ways:
        return f"{supply.name}: its plug goes in one way. {_no_swap(terminals)}"
    closing = "" if terminals is not None and terminals.alone else f" {_no_swap(terminals)}"
    return f"{supply.name}: {STRIP_OFF.lower()}, {' or '.join(ways)}, then measure again.{closing}"


def _no_swap(terminals: Terminals | None) -> str:
    if terminals is None:
        return "No output's wires are swapped: its terminals are not measured (pilotlamp terminals)."
    return "No output's wires are swapped: its outputs share a post, and one would be shorted through the common."


def guide(layout: Layout, verdicts: Sequence[BenchVerdict], plan: Plan | None = None) -> str:
    """The whole walk, plain text: the cautions first, then each pair of AC supplies that passed the bench check."""
    plan = plan or Plan()
    supplies, unfit = ac_supplies(layout), refused(verdicts)
    rows = ["Phasing supplies with a meter", "", "Before the first step:", *(f"  ! {caution}" for caution in CAUTIONS), ""]
    rows += [
        f"  ! {supply.name} gets no walk, and is not to be plugged in. {unfit[supply.name]}"
        for supply in supplies
        if supply.name in unfit
    ]
    fit = [supply for supply in supplies if supply.name not in unfit]
    if len(supplies) < 2:
        return "\n".join([*rows, "This layout has fewer than two AC supplies: there is nothing to phase."]) + "\n"
    if len(fit) < 2:
        return (
            "\n".join([*rows, "Fewer than two AC supplies have passed the bench check (pilotlamp bench): no walk before that."])
            + "\n"
        )
    for other in fit[1:]:
        has_throttle = [_has_throttle(layout, supply) for supply in (fit[0], other)]
        if not any(has_throttle):
            rows += [
                f"{fit[0].name} and {other.name}: neither has a throttle to see a reading follow, so a meter alone proves nothing.",
                "",
            ]
        elif has_throttle[1]:
            rows += _steps((fit[0], other), TEST_SHARE if has_throttle[0] else 1.0, plan)
        else:
            rows += _steps((other, fit[0]), 1.0, plan)
    return "\n".join(rows) + "\n"


def _has_throttle(layout: Layout, supply: Supply) -> bool:
    return any(output.supply == supply.name and output.control == "variable" for output in layout.output)


def _steps(pair: tuple[Supply, Supply], share: float, plan: Plan) -> Iterator[str]:
    """The walk for two supplies, the second one with a throttle; the first stands at a share of its volts."""
    first, other = pair
    own = share * (min(first.max_volts, other.max_volts) if share < 1 else first.max_volts)
    reading = PhaseReading(own_volts=own, other_volts=own / 2, between_volts=0.0)
    in_phase, anti_phase = f"{reading.in_phase_volts:.0f} V", f"{reading.anti_phase_volts:.0f} V"
    yield f"{first.name} and {other.name}"
    yield "  1. Strip off, all trains off the track. Both plugs in one switched strip; mark which way up each is. Meter on AC volts."
    yield "  2. Nothing joined yet. Strip on. Measure each supply alone, its hot against its own common, a lamp across as a small load:"
    yield f"     set {first.name} to about {own:.0f} V and {other.name} to about {own / 2:.0f} V. A supply that does not follow its"
    yield "     throttle ends the walk."
    yield f"  3. {STRIP_OFF}. Join the two commons with one wire and a small lamp in it, nothing else. Strip on."
    yield f"  4. Measure between the two hot posts, a lamp across: in phase about {in_phase}, in anti-phase about {anti_phase}."
    yield f"     Clearly more than {anti_phase}: stop. {STOP}."
    yield f"  5. Turn {other.name} up by {FOLLOW_SHARE * own:.0f} V and measure again, it alone and between the hot posts: in phase the"
    yield "     reading between them falls by as much, in anti-phase it rises. A reading that does not follow is no verdict: a joint is open."
    yield "     pilotlamp phase LAYOUT --reading OWN OTHER BETWEEN judges each round."
    yield f"  6. In anti-phase: {STRIP_OFF.lower()} and take the wire off. Turn one of the two, never both:"
    yield f"     {ways_to_turn(first, plan)}"
    yield f"     {ways_to_turn(other, plan)}"
    yield f"  7. {STRIP_OFF} before you touch a wire. Tape the plugs to the strip so that none is ever unplugged alone."
    yield ""


def verdict_record(verdict: PhaseVerdict) -> Mapping[str, str]:
    """A verdict as one JSON object."""
    return {"kind": "phase", "verdict": verdict.verdict, "because": verdict.because}
