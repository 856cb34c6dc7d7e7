"""Every sentence of warnings and states, in one table, each read as somebody would who wants to be misled by it.

A sentence has its text, what a hand may do on reading it, and what keeps that from being wrong. The rooms of protection and standing
make no other words for people but names and figures; a test holds that.
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
    # A warning as it rises
    "rise-opens": _S("{where} is overloaded: {drawn} A are drawn, {much}; its protection opens {left}", "stop a train", "see left"),
    "much-over": _S("{over} A more than its protection holds", "take as much off", "against what a typical one holds"),
    "much-close": _S("close to what its protection holds", "take something off", "less than 0.05 A beyond, or warm from before"),
    "do-opens": _S(
        "Stop a train on {where} or switch something off there now, or all of {supply} may stop.",
        "stop a train", "the place whose draw rose; the whole supply where none stands out",
    ),
    "rise-over": _S("{where} carries {drawn}, {share} of {limit}: {over} too much; {what}", "take as much off", "held for 5 s"),
    "over-will-open": _S("its protection opens {left}", "take something off", "the forecast of its supply, with its bounds"),
    "guard-unknown": _S("nothing is known that would switch it off", "take something off", "asks for no trust in a protection"),
    "guard-none": _S("nothing will switch it off by itself", "take something off", "true of a supply without protection"),
    "guard-slow": _S("its protection may allow that for long, its winding and wires may not", "take some off", "guards itself"),
    "do-over": _S("Within a few minutes, stop a train on {where} or switch something off there.", "stop a train", "an opening has its own"),
    "rise-near": _S("{where} is at {share} of {limit}: {left} left.", "add nothing", "the advice forbids adding"),
    "do-near": _S("Add nothing there.", "add nothing", "harmless where it was not needed"),
    "rise-unguarded": _S(
        "{where} has carried {share} of its rating for a minute and nothing is known that would switch it off",
        "switch it off", "only where no protection is known",
    ),
    "do-unguarded": _S(
        "Switch off the strip of {where} now and let it cool before you look for the cause.",
        "switch all off", "it cools first; no plug is pulled alone, whose pins may carry volts of a joined supply",
    ),
    "rise-stalled": _S(
        "{where} has drawn a steady {drawn} A for {span}; its laps drew {most} A at most: a train is stalled, or something was switched on.",
        "look there", "names both, for figures cannot tell them apart",
    ),
    "do-stalled": _S(
        "Look at {where}. If a train stands still with its power on, turn its throttle down now: a stalled motor can burn out.",
        "turn a throttle down", "only after looking",
    ),
    "rise-short": _S("Short circuit on {where}: {amps} A flow and only {volts} V are left.", "switch that output off", "measured so"),
    "do-rise-short": _S("Turn {where} off now, then look for derailed wheels or metal across the rails.", "touch rails", "off first"),
    "rise-opened": _S("The protection of {where} opened after {why}: everything it feeds lost power; {back}.", "wait", "see back"),
    "after-short": _S("a short", _NONE, "part of the sentence before"),
    "after-overload": _S("an overload", _NONE, "part of the sentence before"),
    "do-opened": _S(
        "Turn the throttles of {where} down and switch it off: power may come back. Then look for the cause.",
        "switch it off", "off before anything is looked for; no hand is hurried to the rails",
    ),
    "do-opened-fuse": _S(
        "Switch the strip off and unplug {where}, find the cause, then put in a fuse of the same kind and rating; "
        "a fuse inside the case is for somebody licensed.",
        "change it", "off and unplugged first, the case stays closed",
    ),
    "recorded-open": _S("In the recording the protection of {where} opened: everything it fed lost power.", _NONE, "a replay"),
    "do-recorded-open": _S("What the protection of this layout would have done stands among the answers.", _NONE, "a replay"),
    "crept": _S("It crept up over the last minute, most on {where}, by {amps} A.", _LOOK, "the largest rise, called the most"),
    "began": _S("It began when the draw of {where} rose by {amps} A{what}.", _LOOK, "a step within seconds of the overload"),
    "like-load": _S(", about what {loads} would draw", _LOOK, "says like what, not that it was that"),
    "like-none": _S(", which no single known load explains", _LOOK, "of the loads in the layout file"),
    "flood-rise": _S("{n} warnings in ten minutes{first}: those without hurry are held back.", _LOOK, "counted when it rose"),
    # What still fits, and what a limit is called
    "fits-amps": _S("{amps} A more fit on {where}{first}", "switch on as much", "see fits"),
    "fits-nothing": _S("nothing more fits on {where}{first}", "add nothing", "less is left than the smallest accessory draws"),
    "fits-no-engine": _S("no further engine fits on {where}{first}", "add no engine", "of the engines in the layout file, or a usual one"),
    "fits-one": _S("one more {amps} A engine fits on {where}{first}", "add one", "see fits"),
    "fits-some": _S("{n} more {amps} A engines fit on {where}{first}", "add so many", "see fits"),
    "reached-first": _S("; {limit} is reached first", _STAY, "part of the sentence before"),
    "limit-nameplate": _S("the {where} total of {va} VA{derated}", _NONE, "by the plate"),
    "derated": _S(", {share} of its plate of {va}", _NONE, "of a plate that rates the primary side"),
    "limit-winding": _S("the {where} winding at {amps} A", _NONE, "rated VA over highest volts"),
    "limit-protection": _S("the {where} protection rated {amps} A", _NONE, "by the layout file"),
    "limit-output": _S("output {where} at {amps} A", _NONE, "by the layout file"),
    "limit-feeder": _S("the feeder to {where} at {amps} A", _NONE, "the ampacity of its wire"),
    "hold-of": _S("the {where} protection", _NONE, "what a typical one holds"),
    # Why figures are old
    "late-computer": _S("this computer is late", "close other programs", "bytes came whose figures are not there"),
    "late-board": _S("the board is silent", "look at its power and cable", "the port is open and nothing comes"),
    "late-link": _S("the link to the board is down", "plug it in", "the port cannot be opened, or went"),
    "late-not-understood": _S("what comes is not understood", "see the list of what is not well", "bytes come that mean nothing"),
    # What binds, what is left, how hot
    "use": _S("{share} of {limit}", _STAY, _FACT),
    "use-left": _S("{use}, {left} left", "add as much", "never beside an expected opening, a short, no power or old figures"),
    "use-over": _S("{use}, {left} too much", "take as much off", _FACT),
    "some-unread": _S("at least {use}", "look at the districts without figures", "a lower bound is called one"),
    "fits": _S("{left} left: {fits}", "add as much", "only where all of a supply runs or rests and is read without doubt"),
    "heat": _S("Protection at {heat} of the heat that opens it{bounds}", _STAY, "likely heat; bounds stand beside it where they are wide"),
    "heat-bounds": _S(" (between {low} and {high})", _NONE, "part of the sentence before"),
    "heat-opens": _S("{heat}; opens {left}", "take something off", "the one countdown"),
    "cooling": _S("Protection open for {age}, cooled to {heat} of the heat that opens it: {back}", "wait", "only while no power is there"),
    "back-itself": _S("it closes by itself {left}", "keep hands off the rails, throttles down", "only of a kind that does"),
    "back-hand": _S("find the cause, then reset it by hand, twice at most", "reset it", "cause first; only of a kind that stays open"),
    "back-fuse": _S("its fuse has to be replaced", "unplug it and change the fuse", "the advice has unplugging and the rating"),
    "back-unknown": _S("whether it closes by itself is not known", "expect power at any moment", "the layout file does not say"),
    # The countdown
    "left": _S("in about {likely} ({earliest} {latest}{late}{narrow})", "act within the earliest", "nearly all devices lie between both"),
    "left-latest": _S("to {span}", _NONE, "part of the sentence before"),
    "left-never": _S("or never", "act all the same", "some devices that it may be would hold"),
    "left-late": _S(", later than typical: this one is slow", "act at once", "a typical one would be open"),
    "left-vague": _S("; type in points from its data sheet to narrow this", "look for the data sheet", "only where none are known"),
    "left-open": _S("; its tolerance leaves this open: only less draw settles it", "take load off", "points known, no latest end"),
    "left-now": _S("at any moment", "act at once", "under a second"),
    "left-raised": _S("in about {span}", "act within it", "as the warning said when it rose, counted down; where no forecast is at hand"),
    # Warnings, now
    "short-now": _S("Short circuit on {where}", "switch that output off", "the latest figures bear it out"),
    "short-unknown": _S("Short circuit on {where} at its last figures", "switch that output off", "harmless where it is over"),
    "short-over": _S("Short on {where} a moment ago; power is back", "look for its cause before going on", "figures show power and no short"),
    "short-dead": _S("A short was seen on {where}; no power there now", "look for its cause, off first", "figures show neither"),
    "short-again": _S("Short on {where} comes and goes; power is there now", "look for its cause before going on", "three in a minute"),
    "opened-over": _S("The protection of {where} opened {age} ago; power is back", "look for its cause", "figures show power"),
    "overload-opens": _S("{where} is overloaded: its protection opens {left}", "take something off now", "the one countdown"),
    "overload-if": _S("{where} is overloaded: if that goes on, its protection opens {left}", "take less", "no warning rose yet"),
    "overload": _S("{where} is overloaded: {use}; {guard}", "take something off", "the guard says why nothing opens"),
    "overload-past": _S("{where} was overloaded a moment ago: now {use}", "add nothing yet", "the warning still stands and says so"),
    "overload-cut": _S("{where} was overloaded; there is no power now", "look why", "figures of now show none"),
    "overload-unknown": _S("{where} was overloaded at its last figures", "take something off", "those are old, and called the last"),
    "near-unknown": _S("{where} was near its limit at its last figures", "add nothing", "see above"),
    "overload-again": _S("The overload of {where} comes and goes: now {use}", "add nothing yet", "three in a minute"),
    "near-now": _S("{where} is near its limit: {use}; add nothing", "add nothing", _FACT),
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
    "now-on": _S("power is there now", "run on", "figures of now show it; whether it opened meanwhile is not said"),
    "now-dead": _S("no power there now", "look for its cause", "figures of now show none"),
    "now-unknown": _S("no figures from there now", "measure by hand", "nothing is said of power"),
    "do-short": _S("Turn {where} off before you clear derailed wheels or metal from the rails there, then press Seen.", "go", "off first"),
    "do-opening": _S(
        "Turn the throttles of {where} down and find what opened it before trains run again. Then press Seen.",
        "look for the cause", "throttles first, no reset is asked for",
    ),
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
