"""Every sentence that a standing can say, in one table, each read as somebody would who wants to be misled by it.

A sentence has its text, what a hand may do on reading it, and what keeps that from being wrong. Nothing else in this room makes words
for people, but for names, figures, and the message and advice of the warning itself; a test holds that.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence.

    Attributes:
        text: With places for names and figures.
        moves: What a hand may do on reading it.
        guard: Why that does no harm.
    """

    text: str
    moves: str
    guard: str


_S = Sentence
_LOOK, _NONE, _STAY = "look there", "none", "leave things as they are"
_FACT = "a fact of figures that are not stale"

SENTENCES: dict[str, Sentence] = {
    # The word of a district or supply
    "running": _S("running", _STAY, "volts and amps arrive, nothing is near a limit"),
    "on": _S("on", _STAY, "the same of accessories"),
    "resting": _S("draws nothing", "touch what rests there", "says nothing of volts, which stand beside it"),
    "near": _S("near its limit", "add nothing", "from a share of NEAR on, or while a warning stands"),
    "over": _S("overloaded", "take something off", "from the limit itself on"),
    "over-opens": _S("overloaded, opens {left}", "take something off", "only with a forecast, as old as its figures"),
    "short": _S("short circuit", "switch that output off", "a short was seen and the latest volts or amps bear it out"),
    "short-opens": _S("short circuit, opens {left}", "switch that output off", "the same, and the one countdown"),
    "dead": _S("no power", "look for what switched it off", "no cause is named where none is known; volts may come back at any time"),
    "dead-protection": _S("no power: protection open", "turn throttles down, look for the cause", "volts of the district are gone too"),
    "dead-feed": _S("no power: feed lost", "check plug, switch and wires", "other districts of the supply have power, or the mains went"),
    "dead-throttle": _S("no power: throttle down", "turn it up", "the last event there was a hand on the throttle"),
    "stale": _S("no figures for {age}", "look at board and cable", "nothing is said of power"),
    "stale-late": _S("no figures for {age}: {why}", "see why", "the cause is named only where the port bears it out"),
    "unread": _S("no figures yet", "wait, or look at board and cable", "nothing is said of power"),
    "draw-unknown": _S("draw not known", "rely on nothing", "figures came and were not judged"),
    "at-least": _S("{word}, {n} unread", "look at the districts without figures", "sums are called lower bounds"),
    "unsure": _S("sensor in doubt", "measure by hand", "the figure beside it is marked as not good"),
    # Why figures are old
    "late-computer": _S("this computer is late", "close other programs", "bytes came whose figures are not there"),
    "late-board": _S("the board is silent", "look at its power and cable", "the port is open and nothing comes"),
    "late-link": _S("the link to the board is down", "plug it in", "the port cannot be opened, or went"),
    "late-not-understood": _S("what comes is not understood", "see the list of what is not well", "bytes come that mean nothing"),
    # What binds, what is left, how hot
    "use": _S("{share} of {limit}", _STAY, _FACT),
    "use-left": _S("{share} of {limit}, {left} left", "add as much", "never beside an expected opening, a short, no power or old figures"),
    "use-over": _S("{share} of {limit}, {left} too much", "take as much off", _FACT),
    "some-unread": _S("at least {use}", "look at the districts without figures", "a lower bound is called one"),
    "fits": _S("{left} left: {fits}", "add as much", "only where all of a supply runs or rests and is read without doubt"),
    "heat": _S("Protection at {heat} of the heat that opens it{bounds}", _STAY, "likely heat; bounds stand beside it where they are wide"),
    "heat-bounds": _S(" (between {low} and {high})", _NONE, "part of the sentence before"),
    "heat-opens": _S("{heat}; opens {left}", "take something off", "the one countdown"),
    "cooling": _S("Protection open for {age}, cooled to {heat} of the heat that opens it: {back}", "wait", "only while no power is there"),
    "back-itself": _S("closes by itself {left}", "keep hands off the rails, throttles down", "only of a kind that does"),
    "back-hand": _S("find the cause, then reset or replace it by hand", "reset it", "the cause comes first; no word on when it closes"),
    # The countdown
    "left-now": _S("at any moment", "act at once", "under a second"),
    "left-raised": _S("in about {span}", "act within it", "as the warning said when it rose, counted down; where no forecast is at hand"),
    # Warnings, now
    "short-now": _S("Short circuit on {where}", "switch that output off", "the latest figures bear it out"),
    "short-over": _S("Short on {where} a moment ago; power is back", "look for its cause before going on", "figures show power and no short"),
    "short-again": _S("Short on {where} comes and goes; power is there now", "look for its cause before going on", "three in a minute"),
    "opened-over": _S("The protection of {where} opened {age} ago; power is back", "look for its cause", "figures show power"),
    "overload-opens": _S("{where} is overloaded: its protection opens {left}", "take something off now", "the one countdown"),
    "overload": _S("{where} is overloaded: {use}; {guard}", "take something off", "the guard says why nothing opens"),
    "overload-past": _S("{where} was overloaded a moment ago: now {use}", "add nothing yet", "the warning still stands and says so"),
    "overload-again": _S("The overload of {where} comes and goes: now {use}", "add nothing yet", "three in a minute"),
    "near-now": _S("{where} is near its limit: {use}; add nothing", "add nothing", _FACT),
    "flood": _S("{n} warnings in ten minutes{first}: those without hurry are held back", "look at the first", "counted now"),
    "flood-first": _S("; the first was about {where}", _LOOK, "the first of its supply since all was well"),
    "flood-do": _S("Look there first.", _LOOK, "asks to stop nothing: each warning says what to stop"),
    "flood-look": _S("Look at the topmost first.", _LOOK, "the worst stands topmost"),
    "flood-over": _S("No other warning stands now; this one goes when fewer have risen.", "go on", "counted now"),
    # The headline
    "unknown": _S("No figures yet", "wait", "nothing is said of power"),
    "waiting": _S("Waiting for the first figures.", "wait", "nothing is said of power"),
    "silence": _S("No live figures for {age}", "look at board and cable", "everything shown is old and marked as old"),
    "silence-old": _S("What is shown is old.", "trust nothing shown", "true of all of it"),
    "because": _S("{why}: what is shown is old.", "mend that", "the cause is named only where ports bear it out"),
    "some-silent": _S("{n} of {all} districts without live figures", _LOOK, "the others are judged as ever"),
    "some-silent-who": _S("{names}: nothing can be said about them now.", "trust nothing of them", "true"),
    "others": _S("{names} and others", _NONE, "part of the sentence before"),
    "late-figures": _S("The figures are {age} old.", "act all the same", "a warning stands; it is no older than SILENCE_S"),
    "late-figures-why": _S("The figures are {age} old: {why}.", "act all the same", "see above"),
    "latched-short": _S("Short on {where}, {age} ago; {now}", "look there before going on", "what is there now is said from figures"),
    "latched-opening": _S("The protection of {where} opened {age} ago; {now}", "look for its cause", "see above"),
    "latched-overload": _S("{where} was overloaded until {age} ago; {now}", "run less there", "see above"),
    "now-power": _S("power is back", "run on", "figures of now show power"),
    "now-on": _S("it did not open", "run on", "power never went, and figures of now show it"),
    "now-dead": _S("no power there now", "look for its cause", "figures of now show none"),
    "now-unknown": _S("no figures from there now", "measure by hand", "nothing is said of power"),
    "do-short": _S("Look for derailed wheels or metal across the rails there, then press Seen.", "look there", "says nothing of power"),
    "do-opening": _S("Find what opened it before trains run there again, then press Seen.", "look for the cause", "no reset is asked for"),
    "do-overload": _S("Run less there, then press Seen.", "take something off", "harmless where it was not needed"),
    "dead-where": _S("{where}: {word}", "look for what switched it off", "see the words of no power"),
    "cause-where": _S("{where}: {cause}", _LOOK, "an event that goes on, refuted by no figure"),
    "since": _S("For {age} now.", _NONE, "counted from when it began"),
    "not-expected": _S("At this draw its protection is not expected to open.", _STAY, "judged lately, its heat is followed"),
    "near-head": _S("{where} is near its limit", "add nothing", _FACT),
    "over-head": _S("{where} is overloaded", "take something off", _FACT),
    "calm": _S("Nothing is near its limit", "run on", "every supply was judged lately, every share is below NEAR, nothing else is wrong"),
    "calm-unjudged": _S("No warning stands", "run on", "what is drawn was not judged, and that is said beside it"),
    "unjudged": _S("What is drawn is not known of every supply.", "rely on nothing", "true"),
    "closest": _S("Closest: {where}, {use}.", _STAY, _FACT),
}  # fmt: skip


def say(key: str, **figures: object) -> str:
    """A sentence with its names and figures."""
    return SENTENCES[key].text.format(**figures)
