"""Every figure that decides in this room, in one table: value, unit, reason, source.

"common practice" is a fact of the trade without a published source; "judgement" is ours, "from memory" was not looked up. Curves of
devices, which are data and not decisions, stand with :mod:`monitor.protection.curves`.
"""


def threshold(value: float, unit: str, reason: str, source: str) -> float:  # noqa: ARG001 - the other three are for the reader
    """A figure that decides, as a plain number: it may come into what is encoded, stored or sent.

    Args:
        value: The figure.
        unit: Its unit; "share" for fractions.
        reason: Why there is such a figure, and why this one.
        source: Where it is from.

    Returns:
        ``value``.
    """
    return float(value)


_T = threshold
_OURS, _TRADE, _ALARMS, _MEMORY = "judgement", "common practice", "ISA-18.2, IEC 62682", "from memory"

# Trains that cannot turn
STALL_LEAP = _T(1.15, "times", "of the last second's amps; a blocked motor takes more at once", _OURS)
STALL_TIMES = _T(1.3, "times", "of what nearly all of its laps took: beyond any hill that was driven", _OURS)
STALL_QUANTILE = _T(0.95, "share", "of the laps' amps that counts as their most; starts are above", _OURS)
STALL_BACK = _T(1.12, "times", "of that: below, it runs again", _OURS)
STALL_LAPS_S = _T(60.0, "s", "of laps looked back on", _OURS)
STALL_KNOWN_S = _T(24.0, "s", "of running, so that most of a lap was seen", _OURS)
STALL_RAN = _T(0.15, "share", "of the amps now: with less, no train ran", _OURS)
STALL_FLAT_S = _T(3.0, "s", "a stalled motor burns within some ten seconds to minutes, so a few seconds are all there is", _TRADE)
STALL_MOVES_S = _T(10.0, "s", "without standing still: it runs, and what leapt was a load", _OURS)
STALL_TURNED_UP = _T(1.03, "times", "of the volts a second ago: a hand that turns up a throttle raises the amps", _OURS)

# Readings and ticks
HOLD_S = _T(1.5, "s", "a board that sends seldom is taken to draw on as it last did; then nothing is known", _OURS)
SILENT_S = _T(2.0, "s", "a board that is this far behind the stream is no longer waited for", _OURS)
SMOOTH_S = _T(1.0, "s", "time constant over which draws are held against ratings", _OURS)
FAST_S = _T(0.4, "s", "time constant over which a draw is held against what a protection holds", _OURS)
GAP_AMPS_S = _T(5.0, "s", "so long a gap is bridged with the last draw; after it most likely nothing is drawn", _OURS)

# Warnings as alarms
CHATTER_RISES = _T(3, "rises", "as many within CHATTER_WITHIN_S are chattering", _ALARMS)
CHATTER_WITHIN_S = _T(60.0, "s", "chattering is counted over a minute", _ALARMS)
CHATTER_HOLD_S = _T(20.0, "s", "what chatters stands until it has been quiet for so long", _OURS)
FLOOD_ABOVE = _T(10, "warnings", "more in FLOOD_WITHIN_S begin a flood", _ALARMS)
FLOOD_BELOW = _T(5, "warnings", "fewer in FLOOD_WITHIN_S end it", _ALARMS)
FLOOD_WITHIN_S = _T(600.0, "s", "floods are counted over ten minutes", _ALARMS)
SHELF_LIMIT_S = _T(3600.0, "s", "nothing stays shelved for longer", _OURS)

# Ratings
RATING_ON_S = _T(5.0, "s", "starting engines and cold filaments are over by then; a person has minutes to act", _TRADE)
RATING_OFF_S = _T(3.0, "s", "a warning clears after so long below, not at a flicker", _OURS)
NEAR = _T(0.9, "share", "so much of a rating leaves no room for a further engine", _OURS)
NEAR_ON_S = _T(20.0, "s", "a grade on a lap is over by then", _OURS)
DEADBAND = _T(0.02, "share", "a draw must fall so far below before a warning begins to clear", _ALARMS)
UNGUARDED = _T(1.5, "share", "so far over the rating nothing made for it lasts long", _OURS)
UNGUARDED_S = _T(60.0, "s", "a breaker that is not known of would have opened by then at this draw", "UL 489")
UNGUARDED_BACK = _T(0.95, "share", "of UNGUARDED, at which that is over", _OURS)
CLASS_2_VA = _T(100.0, "VA", "nameplate limit of a Class 2 supply above 20 V; below, 5 A", "NEC chapter 9, table 11(A)")
CLASS_2_AMPS = _T(5.0, "A", "see CLASS_2_VA", "NEC chapter 9, table 11(A)")

# Shorts
SHORT_TIMES = _T(1.8, "times", "a short draws at least this many times what the supply may give for good", _OURS)
SHORT_OHMS = _T(
    0.18, "share", "of the usual volts over amps: an overload of three times has a third, cold filaments 0.15 briefly", _OURS
)
SHORT_COLLAPSE = _T(
    0.5, "share", "or volts fall to this at once: a supply that loses a third at its rating keeps more at 1.8 times", _OURS
)
SHORT_CLEAR_S = _T(0.5, "s", "over once nothing like it was seen for so long", _OURS)
SHORT_SETTLE_S = _T(0.3, "s", "after power returns filaments are cold and rotors stand: only what lasts longer counts", _OURS)
SHORT_SURE = _T(0.1, "share", "or what has fewer ohms than those could have together", _OURS)
DARK_VOLTS = _T(0.05, "share", "of the highest volts: an output below is dead", _OURS)
DARK_AMPS = _T(0.1, "share", "of what the supply may give: and draws less than this", _OURS)
LIT_VOLTS = _T(0.1, "share", "of the highest volts: above, volts before a short are taken for the usual ones", _OURS)
USUAL_VOLTS = _T(0.6, "share", "of the highest volts: taken for the usual ones where none are known", _OURS)

# Clipped amps

# What began an overload
BEFORE_S = _T(2.0, "s", "level before a step", _OURS)
SKIP_S = _T(0.6, "s", "left out before a step: what is judged is smoothed", _OURS)
AFTER_S = _T(2.0, "s", "level after a step", _OURS)
EARLIER_S = _T(3.0, "s", "a step is looked for this long before an overload was noticed", _OURS)
LATER_S = _T(0.4, "s", "and this long after", _OURS)
LEAST_AMPS = _T(0.3, "A", "a step is at least this: less is noise", _OURS)
LEAST_SHARE = _T(0.1, "share", "and at least this share of all that is drawn: less is a grade or a lap", _OURS)
CREPT_OVER_S = _T(60.0, "s", "what rose over so long crept up", _OURS)
LOAD_ALIKE = _T(0.35, "share", "a load explains a step that differs from its figures by no more", _OURS)
SMALLEST_AMPS = _T(0.2, "A", "less is no room, and no engine", _TRADE)
USUAL_ENGINE_AMPS = _T(2.0, "A", "an engine where the layout file names none", _TRADE)

# When to warn of an opening
OVER = _T(1.0, "share", "of what a quick one holds: an overload begins", _OURS)
BACK = _T(0.96, "share", "of it: an overload may end, a deadband of four percent", _OURS)
BACK_S = _T(1.0, "s", "an overload ends after so long below", _OURS)
HOT = _T(0.92, "share", "of opening heat: near an opening though hardly more is drawn than it holds", _OURS)
HOT_AMPS = _T(0.95, "share", "of what a quick one holds that is drawn then", _OURS)
HOT_ON_S = _T(3.0, "s", "it lasts for so long", _OURS)
PATIENCE_LEAST_S = _T(1.0, "s", "a quick one takes T seconds: warn after the larger of this + 0.13 T and 0.53 T - 5 s,", _OURS)
PATIENCE_SHARE = _T(0.13, "share", "that is later than engines start and lamps warm up,", _OURS)
PATIENCE_LONG = _T(0.53, "share", "by seven tenths of T,", _OURS)
PATIENCE_AHEAD_S = _T(5.0, "s", "and ten seconds ahead from T = 15 s on", _OURS)
RECLOSED_S = _T(60.0, "s", "one that closed this lately comes back to the same overload: only starts are waited for", _OURS)
DEAD = _T(0.05, "share", "of the highest volts and of the rated amps: below both a supply is dead", _OURS)
AFTER_SHORT_S = _T(2.0, "s", "a protection that opens this soon after a short was last seen opened by it", _OURS)
AFTER_OVER_S = _T(1.0, "s", "one that opens this soon after more was drawn than it holds opened by heat", _OURS)
OPENED_HEAT = _T(
    0.2, "share", "of opening heat, the least at which volts that go are taken for an opening by heat: worn ones are quick", _OURS
)

# Devices that a protection may be
QUICK = _T(0.75, "times", "real breakers open up to a quarter sooner or later than their data sheet's curve", _TRADE)
TIME_SPREAD = _T(0.26, "log", "half width in seconds: a quarter", _TRADE)
HOLD_SPREAD = _T(0.10, "log", "half width in hold current: a tenth", _TRADE)
THERMAL_ROOM_SPREAD = _T(
    0.07, "log", "half width in hold of 10 K more or less in the room, of 75 K by which a bimetal heats up", _MEMORY
)
COUNTING_ROOM_SPREAD = _T(0.03, "log", "the same for what melts or counts", _MEMORY)
RARE_EVERY = _T(16, "devices", "one in so many is wider off: what is sold is not always what the data sheet says", _OURS)
RARE_TIMES = _T(2.5, "times", "wider by so much", _OURS)
UNPROVEN_SPREAD = _T(
    3.5, "log", "half width in seconds of electronic limiters without points: no standard says how long they take", _OURS
)
COOLING_SPREAD = _T(0.5, "log", "half width in the time constant of cooling", _OURS)
PICK_UP_SPREAD = _T(0.9, "share", "part of the way from the rating to the first point in which opening may begin", _OURS)
PLAIN_SPREAD = _T(0.1, "log", "time constants that differ by less are one", _OURS)
FUSE_COOLING_S = _T(20.0, "s", "time constant in which what a fuse has used up recovers", _TRADE)
LIMITER_COOLING_S = _T(1.0, "s", "the same of an electronic limiter", _TRADE)

# Heat, and what openings tell of it
START_HEAT_LIMIT = _T(0.6, "share", "what went before is not known: most probably no more heat than this", _OURS)
START_SPREAD = _T(1.3, "times", "heat at the start lies anywhere up to so many times what the present draw leads to", _OURS)
RESET_HEAT = _T(0.7, "share", "a thermal protection closes again, until it was seen to", _TRADE)
REFUTED = _T(1.01, "share", "a device this hot that has not opened is not the one that is there", _OURS)
LEARN_ABOVE = _T(0.25, "share", "an opening tells of the device where the likely heat was more than this", _OURS)
LEARN_BELOW = _T(2.0, "share", "and less than this", _OURS)
LEARN_SPAN = _T(0.3, "share", "and its bounds no further apart", _OURS)
FIRST_SCATTER = _T(0.2, "log", "heat by which a device may have missed the first opening to count for less", _OURS)
NEXT_SCATTER = _T(0.07, "log", "and later ones", _OURS)
REPEAT_SCATTER = _T(0.05, "log", "by which one device's own openings scatter", _OURS)
QUICK_SHARE = _T(0.1, "share", "one in ten of the devices is quick enough to warn by", _OURS)

# How a draw may go on
LAP_SHORTEST_S = _T(3.0, "s", "shortest lap", _OURS)
LAP_LONGEST_S = _T(60.0, "s", "longest lap", _OURS)
LAP_ALIKE = _T(0.6, "correlation", "least of a draw with itself one lap earlier", _OURS)
LAP_TROUGH = _T(0.2, "correlation", "less by so much between two laps: a slow rise is like itself at every lag", _OURS)
LAP_STEADY = _T(0.2, "share", "a draw squared that differs from the lap before by less keeps to it", _OURS)
LAP_SHARE = _T(0.9, "share", "how likely it goes on in laps that were found", _OURS)
LAP_SAFE_HEAT = _T(0.97, "share", "of opening heat: laps that come no closer go on safely", _OURS)
LOOK_AHEAD_S = _T(240.0, "s", "an opening by laps that is further off is none to warn of", _OURS)
AGAIN_MISFIT = _T(0.12, "share", "a rise came before like this one where the time since differs by no more", _OURS)
AGAIN_MOST_S = _T(30.0, "s", "up to so long is compared", _OURS)
AGAIN_EDGE_S = _T(2.0, "s", "from so long before the rise", _OURS)
AGAIN_SHARE = _T(0.7, "share", "how likely it goes on as it did then", _OURS)
GRADE_SHARE = _T(0.3, "share", "how likely a first rise is a grade on a lap", _OURS)
GRADE_MOST_S = _T(30.0, "s", "the less the longer it lasts, none after so long", _OURS)
GRADE_BEFORE_S = _T(10.0, "s", "between grades as much is drawn as in so long a time before", _OURS)
RAMP_S = _T(10.0, "s", "a steady rise is looked for over so long", _OURS)
RAMP_LEAST = _T(0.03, "share", "and is at least this", _OURS)
RAMP_STRAIGHT = _T(0.85, "R squared", "and a line explains so much of it", _OURS)
RAMP_STOPS_SHARE = _T(0.15, "share", "how likely it rises no further", _OURS)

# What is said of the time left
EARLIEST = _T(0.01, "share", "of devices and ways of the draw that open before the interval", _OURS)
LATE_LAP_SHARE = _T(
    0.5, "share", "of the earliest moment by laps, once the likely one has passed and no points tell: few devices are left", _OURS
)
LATEST = _T(0.975, "share", "that open before its end", _OURS)
MISFIT = _T(
    0.1, "share", "of the whole time of an overload by which one mass misses a fuse, or a device whose opening was seen", _OURS
)
MANY_LEFT = _T(0.7, "share", "of the devices left: where fewer are, the models have left out many", _OURS)
OUTLASTED = _T(0.05, "share", "what has outlasted all but so few of the devices may take any time", _OURS)
LEAST_SPAN_S = _T(1.0, "s", "the interval reaches so far to both sides: draws are smoothed and come in ticks", _OURS)
BEYOND_QUICK = _T(2.0, "times", "where a typical one holds and a quick one opens: likely so many times what that takes", _OURS)
LATE_SHARE = _T(0.25, "share", "of how long an overload has lasted: likely left where no device would have lasted so long", _OURS)
VAGUE_TIMES = _T(4.0, "times", "a latest so many times the earliest", _OURS)
VAGUE_S = _T(5.0, "s", "and so much more says little: name what would narrow it", _OURS)
