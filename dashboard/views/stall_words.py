"""Causes in plain words: what happened, and what to try next, likeliest first."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from monitor.diagnosis.rates import RateChange
from monitor.diagnosis.sight import causes_shown
from monitor.layout import Layout
from monitor.sessions.remedies import REMEDIES
from monitor.sessions.runs import FigureChange, Run
from monitor.standing.words import WORD_OF_CAUSE
from monitor.values import BoardSeen, Cause, Event, Pattern, SlowFigure
from monitor.words.figures import percent, seconds

WHAT: dict[Cause, str] = {
    Cause.LOST_CONTACT: "A train lost contact: the amps fell at once while the volts held.",
    Cause.SHORT: "A short circuit: the amps leapt to what the supply can give and the volts collapsed.",
    Cause.PROTECTION_OPEN: "The protection opened: every output of this supply went dead after too much was drawn.",
    Cause.SUPPLY_SAG: "The volts sagged because something on the same supply drew more.",
    Cause.MAINS_DIP: "The mains dipped: every supply fell at the same moment and nothing drew more.",
    Cause.FEED_LOST: "The feed was lost: volts and amps went together, with no overload before, and not as a hand does it.",
    Cause.BINDING: "A train laboured: its amps climbed well above its usual and stayed there while the volts held.",
    Cause.WEAK_JOINT: "The amps sagged part of the way and came back: current passes badly at one joint of the track.",
    Cause.DIRECTION_BREAK: "Somebody broke the volts for a moment, as one does to step the reversing unit. Nothing is wrong.",
    Cause.DC_SIGNAL: "Somebody sounded a whistle or a bell. Nothing is wrong.",
    Cause.THROTTLE: "Somebody moved the throttle. Nothing is wrong.",
}
STALLED = (
    "A train stalled, or something was switched on: the amps leapt above its laps' and stand still, as no train that runs does."
)
SHORT_BEFORE_S = 1.0
VERDICT = {"fixed-spot": "One place of the track", "follows-train": "One train", "scattered": "No one place"}
_LABELS = {
    "amps_before": ("Amps before", "A"),
    "amps_lowest": ("Amps, lowest", "A"),
    "amps_during": ("Amps during", "A"),
    "amps_after": ("Amps after", "A"),
    "amps_highest": ("Amps, highest", "A"),
    "amps_highest_before": ("Highest amps of its laps before", "A"),
    "highest_amps_before": ("Highest amps just before", "A"),
    "supply_amps_before": ("Supply's amps before", "A"),
    "supply_amps_during": ("Supply's amps during", "A"),
    "volts_before": ("Volts before", "V"),
    "volts_during": ("Volts during", "V"),
    "volts_after": ("Volts after", "V"),
    "volts_lowest": ("Volts, lowest", "V"),
    "offset_volts": ("DC offset", "V"),
    "waver_share": ("Wavering, as a share of its quietest lap's", ""),
    "lasted_s": ("Lasted", "s"),
    "dead_s": ("Dead for", "s"),
    "without_amps_s": ("Without amps", "s"),
    "overload_lasted_s": ("Overload lasted", "s"),
}


def how_sure(confidence: float) -> str:
    """A confidence in words; the figure is the share of such calls that are right."""
    word = "sure" if confidence >= 0.95 else "quite sure" if confidence >= 0.85 else "likely" if confidence >= 0.7 else "a guess"
    return f"{word} ({percent(confidence)})"


def what(event: Event) -> str:
    """What was seen, in a sentence."""
    return STALLED if "waver_share" in event.evidence else WHAT[event.cause]


def lasted(event: Event, now_s: float) -> str:
    """How long an event lasted, or that it goes on."""
    if event.end_s is None:
        return f"going on for {seconds(now_s - event.start_s)}"
    span_s = event.end_s - event.start_s
    return f"{span_s:.2f} s" if span_s < 10 else seconds(span_s)


def evidence_rows(event: Event) -> list[tuple[str, str]]:
    """The figures that have a name people use, with their units."""
    rows = []
    for key, value in event.evidence.items():
        if key in _LABELS:
            label, unit = _LABELS[key]
            rows.append((label, f"{value:.2f} {unit}"))
    return rows


def steps_to_try(event: Event, patterns: Sequence[Pattern], events: Sequence[Event], layout: Layout) -> tuple[str, ...]:
    """What to try next, likeliest first: what else is known of this district and its supply comes before the usual order."""
    steps = REMEDIES[event.cause]
    follows = any(pattern.verdict == "follows-train" and event.district in pattern.districts for pattern in patterns)
    if event.cause is Cause.LOST_CONTACT and follows:
        return (steps[2], *steps[:2])
    if event.cause is Cause.PROTECTION_OPEN and _short_before(event, events, layout):
        return (steps[1].replace(" if it opened at once", ": one came just before it opened"), steps[0], *steps[2:])
    return steps


def _short_before(event: Event, events: Sequence[Event], layout: Layout) -> bool:
    supplies = {district.name: district.supply for district in layout.district}
    own = supplies.get(event.district)
    return any(
        other.cause is Cause.SHORT
        and supplies.get(other.district) == own
        and 0 <= event.start_s - other.start_s < SHORT_BEFORE_S + (0.0 if other.end_s is None else other.end_s - other.start_s)
        for other in events
    )


def board_sentences(boards: Mapping[str, BoardSeen]) -> list[str]:
    """What boards that send readings, not waveforms, cannot show."""
    return [
        _board_sentence(name, seen.identity.scan_interval_s)
        for name, seen in sorted(boards.items())
        if seen.identity.form == "lines"
    ]


def _board_sentence(name: str, between_s: float) -> str:
    shown = causes_shown(between_s)
    hidden = ", ".join(WORD_OF_CAUSE[cause] for cause in Cause if cause not in shown)
    looks_like = "" if Cause.FEED_LOST in shown else " A lost feed or an open protection may look like a break by hand."
    return (
        f"{name} sends {1 / between_s:.3g} readings a second. They show: {', '.join(WORD_OF_CAUSE[cause] for cause in shown)}. "
        f"They cannot show: {hidden}.{looks_like} A board that sends waveforms shows all of these."
    )


SHORTS_THERE = "Turn the district off, then look there for a turnout or crossing that a wheel can bridge, or for metal."


def place_words(pattern: Pattern) -> str:
    """Where on the lap a spot lies: after a place that an operator marked as the train passed it, else after the lap's count."""
    if pattern.lap_fraction is None:
        return ""
    if not pattern.landmarks:
        return f", {10 * pattern.lap_fraction:.1f} tenths of a lap on"
    text, fraction = pattern.landmarks[-1]
    return f', {10 * ((pattern.lap_fraction - fraction) % 1.0):.1f} tenths of a lap after "{text}"'


def pattern_sentence(pattern: Pattern) -> str:
    """What the events have in common, with the evidence."""
    where = " and ".join(pattern.districts)
    if pattern.verdict == "fixed-spot":
        lap = "" if pattern.lap_s is None else f" (one lap takes {pattern.lap_s:.1f} s)"
        near = "" if pattern.spread is None else f", give or take {10 * pattern.spread:.1f},"
        counted = f"{pattern.there} of the last {pattern.latest}" if pattern.latest else f"{pattern.events}"
        step = SHORTS_THERE if pattern.causes == (Cause.SHORT,) else "Turn the district off, then clean or mend the track there."
        return f"{where}: {counted} events fall at one place{place_words(pattern)}{near}{lap}. {step}"
    if pattern.verdict == "follows-train":
        return f"{where}: {pattern.events} events go with one train. Take it off the track and look at its pickups and wheels."
    return f"{where}: {pattern.events} events, at no one place. Turn the district off, then clean all of its rails, and the trains' wheels."


def chance_words(p_value: float | None) -> str:
    """A p-value in words."""
    if p_value is None:
        return ""
    if p_value < 1e-4:
        return "Chance alone would do that less than once in ten thousand times."
    if p_value < 0.05:
        return f"Chance alone would do that once in {1 / p_value:.0f} times."
    return "Chance alone explains where they fall."


def slow_sentence(figure: SlowFigure) -> tuple[str, str]:
    """A slow figure's line and what it means."""
    if figure.kind == "source-ohms":
        line = f"{figure.name} loses {figure.value:.2f} V for each amp (from {figure.count} steps of load)"
        return line, "A rise from session to session means a tired contact or winding."
    if figure.kind == "loop-ohms":
        line = f"{figure.name}: the feeder has {figure.value:.3f} ohms out and back"
        if figure.reference is None:
            return line, "Write the wire's gauge and length into the layout file to see what it should have."
        more = figure.value / figure.reference
        good = "as its wire should." if more < 1.25 else f"{more:.1f} times its wire: look for a bad joint, with the supply off."
        return f"{line}; its wire {figure.reference:.3f}", f"That is {good}"
    if figure.kind == "flickers":
        line = f"{figure.name}: the cars' pickups flicker, {figure.value:.0f} times in the last minute"
        return line, "Lights only: the engine runs on. When there is time, take the cars off the track and clean their wheels."
    share = figure.value / figure.reference if figure.reference else 1.0
    if figure.kind == "running-amps":
        return f"{figure.name} draws {figure.value:.2f} A at unchanged volts", (
            f"That is {percent(share - 1)} more than at first: take the engine off the track, let it cool, and oil it as its maker says."
            if share > 1.08
            else "That is about what it drew at first."
        )
    earlier = "earlier than it used to: it may still be warm, or be tired." if share < 0.7 else "as it used to."
    return f"{figure.name} opened after {percent(figure.value)} of its data sheet's typical time", f"It opens {earlier}"


def day_words(run: Run, at_s: float = 0.0) -> str:
    """The day of a session, and the time of day."""
    if run.began_at is None:
        return "last time"
    return f"{(run.began_at + timedelta(seconds=max(at_s, run.first_s))).astimezone():%d %B, %H:%M}"


def rate_words(change: RateChange, earlier: str, later: str) -> str:
    """Two counts over two spans, and whether chance explains that they differ."""
    counts = (
        f"{change.before} in {seconds(change.before_s)} {earlier} ({change.before_per_hour:.0f} an hour), "
        f"{change.after} in {seconds(change.after_s)} {later} ({change.after_per_hour:.0f} an hour)."
    )
    if change.before + change.after == 0:
        return f"None in {seconds(change.before_s)} {earlier}, none in {seconds(change.after_s)} {later}."
    if change.p_value > 0.05:
        return f"{counts} That may be chance; watch on."
    rarer = change.after_per_hour < change.before_per_hour
    return f"{counts} {'Rarer' if rarer else 'More often'} than chance explains (p = {change.p_value:.2g})."


def figure_change_words(change: FigureChange) -> tuple[str, str]:
    """A slow figure now and last time, and what that means."""
    now, last, name = change.now, change.last, change.now.name
    day = day_words(change.last_run)
    if now.kind == "opening-share":
        line = f"{name} opened after {percent(last.value)} of its typical time last time ({day}), {percent(now.value)} now"
    else:
        what = "loop" if now.kind == "loop-ohms" else "own resistance"
        decimals = 2 if min(now.value, last.value) >= 0.1 else 3
        line = f"{name}'s {what} was {last.value:.{decimals}f} ohm last time ({day}), {now.value:.{decimals}f} now"
    return line, _change_meaning(change)


def _change_meaning(change: FigureChange) -> str:
    if change.verdict == "alike":
        return "As it was: less than a tenth apart, which warmth alone can do."
    apart = f"{percent(abs(change.share))} {'more' if change.share > 0 else 'less'}"
    if change.verdict == "unclear":
        few = (
            "one opening tells little, and they differ from one to the next"
            if change.now.kind == "opening-share"
            else ("that is not beyond what such figures scatter")
        )
        return f"That is {apart}, but {few}. Watch on."
    way = "up" if change.share > 0 else "down"
    known = f" and beyond how {change.sessions} sessions differ" if change.sessions >= 3 else ""
    return f"That is {apart}, and beyond what it scatters{known}. {_MEANINGS[change.now.kind, way]}"


_MEANINGS = {
    ("loop-ohms", "up"): "Look along this feeder for a loose clip, plug or joint, with the supply off.",
    ("loop-ohms", "down"): "Whatever was mended there helped.",
    (
        "source-ohms",
        "up",
    ): "Compare at the same throttle setting; if it stays, a contact or winding may be worn: have it checked.",
    ("source-ohms", "down"): "Compare at the same throttle setting; otherwise a contact got better.",
    ("opening-share", "up"): "It opens later than it used to: do not rely on it, and have it checked by somebody licensed.",
    (
        "opening-share",
        "down",
    ): "It opens sooner than it did: let it cool; if that stays, have it checked. Never put in a bigger one.",
}
