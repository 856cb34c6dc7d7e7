"""What has to be said about a supply's terminals: cautions of an answer, and why there is none."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from monitor.planning.terminal_commons import TerminalWinding
from monitor.planning.terminal_hypotheses import Group, TerminalHypothesis
from monitor.planning.terminal_readings import NOTHING_VOLTS, TerminalReadings

MEASURE_AGAIN = "measure again with the meter on AC volts for AC (on DC volts for DC) and a lamp across the pair"

SUSPECTS_NAMED = 4
NO_OUTPUT = (
    f"No pair shows the volts of an output: is the supply on, and are the throttles up in their rounds? Then {MEASURE_AGAIN}."
)


def answer_notes(
    readings: TerminalReadings, windings: Sequence[TerminalWinding], hypothesis: TerminalHypothesis
) -> Iterator[str]:
    """What has to be known about an answer."""
    if len(windings) > 1:
        names = "; ".join(", ".join(winding.posts) for winding in windings)
        yield f"These windings are isolated from each other ({names}). Never connect a post of one to a post of another."
    for winding in windings:
        yield from _winding_notes(winding)
    if hypothesis.silent:
        posts = " and ".join(readings.posts[post] for post in hypothesis.silent)
        yield f"{posts}: no volts to any other post with the meter on {readings.meter.upper()}. Leave unconnected until that is explained."
    if hypothesis.still:
        yield still_throttle(readings, hypothesis.still)
    yield from _far_apart(readings, hypothesis)


def _winding_notes(winding: TerminalWinding) -> Iterator[str]:
    if winding.common is None:
        yield (
            f"{winding.posts[0]} and {winding.posts[1]} are two ends of one winding and alike: {winding.chosen} is taken as the common "
            "here. Mark it; whether it suits the other supplies is decided by phasing."
        )
    still = [each.post for each in winding.constant if each.volts > NOTHING_VOLTS]
    if still:
        yield f"{' and '.join(still)}: constant, as long as every throttle of the supply was turned up once. If one was not, add that round."
    for each in winding.variable:
        alike = [its.post for its in winding.constant if abs(its.volts - each.low_volts) <= NOTHING_VOLTS < its.volts]
        if alike:
            yield (
                f"{' and '.join(alike)} stands at the volts of {each.post}'s low mark: it may be the post of another throttle, left low. "
                "Nothing is put on it before that is known."
            )
    same = [each.post for each in winding.constant if each.volts <= NOTHING_VOLTS]
    if same:
        yield f"{' and '.join(same)}: the same point as {winding.chosen}."


def _far_apart(readings: TerminalReadings, hypothesis: TerminalHypothesis) -> Iterator[str]:
    """Pairs of posts in anti-phase: more volts between them than the plate gives."""
    if readings.max_volts is None:
        return
    for winding in hypothesis.windings:
        for pair in itertools.combinations(winding.posts, 2):
            most = max(winding.between(state, pair) or 0.0 for state in readings.states)
            if most > readings.highest_volts:
                yield (
                    f"Between {readings.posts[pair[0]]} and {readings.posts[pair[1]]} stand up to {most:.0f} V, more than the plate's "
                    f"{readings.max_volts:g} V: never use these two as a pair."
                )


def still_throttle(readings: TerminalReadings, states: Sequence[int]) -> str:
    """A throttle that cannot be told from none at all."""
    names = " and ".join(str(readings.throttle_of(state)) for state in states)
    return (
        f"Throttle {names}: no pair changed by more than the meter's scatter, so its post cannot be told from a constant tap. Was it "
        "fully up, and is its lowest mark well below its highest?"
    )


def no_throttle(readings: TerminalReadings, posts: Group) -> str:
    """A winding of several posts on which nothing moves."""
    names = ", ".join(readings.posts[post] for post in posts)
    return (
        f"Which of {names} is the common cannot be told: no throttle moves any of them. If one does, add a round with it turned up; if none "
        "does, choose the pair of posts by its volts in the table."
    )


def why_open(readings: TerminalReadings, answers: Sequence[Sequence[TerminalWinding]]) -> list[str]:
    """Why no measurement decides between answers."""
    ranges = "; or ".join(_ranges(windings) for windings in answers)
    if len({frozenset(frozenset(winding.posts) for winding in windings) for windings in answers}) > 1:
        return [f"Some of the small figures may be phantom volts between isolated windings ({ranges}): {MEASURE_AGAIN}."]
    plate = (
        "the supply's own markings"
        if readings.max_volts is not None
        else "max_volts from its plate, or the supply's own markings"
    )
    return [f"Several posts can serve as the common: {ranges}. Volts alone do not decide that: {plate} do."]


def _ranges(windings: Sequence[TerminalWinding]) -> str:
    words = []
    for winding in windings:
        parts = [f"{each.post} {each.low_volts:.1f}-{each.high_volts:.1f} V" for each in winding.variable]
        parts += [f"{each.post} {each.volts:.1f} V" for each in winding.constant]
        words.append(f"against {winding.chosen}, {', '.join(parts)}")
    return " and ".join(words)


def why_impossible(
    readings: TerminalReadings,
    hypotheses: Sequence[TerminalHypothesis],
    possible: Callable[[TerminalReadings], bool],
) -> str:
    """What is wrong with figures that no supply can give, by the pair; hypotheses are those that only the plate or the throttles rule out."""
    highest = max(readings.readings, key=lambda reading: reading.volts)
    if hypotheses and highest.volts > readings.highest_volts:
        plate = f"its plate's {readings.max_volts:g} V" if readings.max_volts else "what a toy supply may give"
        return (
            f"{readings.pair_name(highest.pair)} shows {highest.volts:g} V, and no common makes that fit {plate}: check the plate, and "
            f"{MEASURE_AGAIN}; if it was read right, unplug the supply and have it looked at"
        )
    if hypotheses:
        return _no_common(readings)
    suspects = [pair for pair in readings.pairs if _adds_up_without(readings, pair, possible)]
    if not suspects:
        suspects = [max(readings.pairs, key=lambda pair: _misfits(readings, pair))]
    return _does_not_add_up(readings, suspects)


def _adds_up_without(readings: TerminalReadings, pair: tuple[int, int], possible: Callable[[TerminalReadings], bool]) -> bool:
    """Whether the other figures can be, without a pair's figure of one round or of all."""
    for state in (None, *readings.states):
        kept = tuple(each for each in readings.readings if each.pair != pair or state not in (None, each.state))
        if len(kept) < len(readings.readings) and possible(replace(readings, readings=kept)):
            return True
    return False


def _does_not_add_up(readings: TerminalReadings, suspects: Sequence[tuple[int, int]]) -> str:
    shown = []
    for pair in suspects[:SUSPECTS_NAMED]:
        volts = ", ".join(f"{v:g} V" for state in readings.states if (v := readings.volts(state, pair)) is not None)
        shown.append(f"{readings.pair_name(pair)} ({volts})")
    verb = "does" if len(shown) == 1 else "do"
    return f"{' or '.join(shown)} {verb} not add up with the other pairs: {MEASURE_AGAIN}"


def _no_common(readings: TerminalReadings) -> str:
    falls = [
        (low - up, state, pair)
        for state in readings.states[1:]
        for pair in readings.pairs
        if (low := readings.volts(0, pair)) is not None and (up := readings.volts(state, pair)) is not None
    ]
    _, state, pair = max(falls, default=(0.0, 0, readings.pairs[0]))
    return (
        f"{readings.pair_name(pair)}: there is no post from which every throttle raises the volts; was throttle "
        f"{readings.throttle_of(state)} really low in the first reading, and the only one up in its own?"
    )


def _misfits(readings: TerminalReadings, pair: tuple[int, int]) -> float:
    """By how much the triangles of a pair fail to close on a line, over all rounds."""
    total = 0.0
    for state in readings.states:
        for post in set(range(len(readings.posts))) - set(pair):
            corners = itertools.combinations(sorted((*pair, post)), 2)
            sides = sorted(v for side in corners if (v := readings.volts(state, side)) is not None)
            if len(sides) == 3:
                total += max(0.0, abs(sides[2] - sides[1] - sides[0]) - NOTHING_VOLTS)
    return total
