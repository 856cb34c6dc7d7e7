"""Every figure by which facts are found and causes told apart, in one table: value, unit, reason, source. A tick is a tenth of a second.

"common practice" is a fact of the trade without a published source; "judgement" is ours, held against rehearsed and labelled captures.
"""

# Volts gone: a hand, the protection, the feed, the mains
BREAK_LIVE_TICKS = 5  # ticks | what was dead until just now cannot go dead | judgement
BREAK_BY_HAND_TICKS = 35  # ticks | a break that steps a reversing unit is 0.15-3 s long; longer is not one | judgement
BREAK_SHORTEST_BY_HAND_S = 0.1  # s | no one lets go of a button faster | judgement
BREAK_UNSURE = 0.5  # confidence | a lost feed or a throttle slammed shut, from coarse readings | rehearsal
BREAK_DOWN_SHARE = 0.5  # share | of the volts before: below, a feed is open | judgement
BREAK_EDGE_ROWS = 4  # readings | a switch's edge lies within so many readings | judgement
BREAK_BACK_TICKS = 3  # ticks | volts that stay for so long are back: a loose contact chatters faster | judgement
BREAK_SWING_SHARE = 0.2  # share | of the volts before: less is no fall or rise of a chattering contact | judgement
BREAK_WAVERED = 1.3  # times | times what they wavered by just before, as pulses do that fall between the samples | judgement
BREAK_OVERLOAD = 0.97  # times | of the rated amps: it may open early, never at ordinary running | judgement
BREAK_SHORT_CIRCUIT = 1.8  # times | times the rated amps in a tenth of a second open instant protections | judgement
BREAK_TOGETHER_WINDOWS = 2.0  # windows | what was live within so many windows before the fall fell with it | judgement
BREAK_SHORT_FED_SHARE = 0.08  # share | of the rated amps: more than leaks flows into a short | judgement
BREAK_PRESSED_S = 1.5  # s | a bimetal needs longer to cool and close | judgement
BREAK_SLID_HIGH = 0.85  # share | of the volts before: between both a switch is for a window, a hand for longer | judgement
BREAK_SLID_LOW = 0.15  # share | of the volts before: between both a switch is for a window, a hand for longer | judgement
BREAK_SLID_ROWS = 6  # readings | three cycles of volts on their way down are no switch's | judgement
BREAK_SLID_TICKS = 12  # ticks | the last second of its way down | judgement
BREAK_SLID_S = 0.4  # s | a lever that is slammed to nothing and back steps a reversing unit; slower it is a throttle | judgement
BREAK_SLID_STEP = 0.4  # share | of the volts before within a cycle: a switch takes more | judgement

# Shorts
SHORT_FADE_S = 0.15  # s | a start's surge is clearly less by then | judgement
SHORT_FADED_SHARE = 0.93  # share | of the first amps: a short's stay within so much | judgement
SHORT_EARLY_S = 0.1  # s | these readings are the first amps | judgement
SHORT_LOST_SHARE = 0.55  # share | of the volts: below, more is lost in the supply than is left | judgement
SHORT_LOST_SHARE_SCRAPING = 0.62  # share | of the volts: metal that scrapes takes some cycles to lose so much | rehearsal
SHORT_SCRAPES_SHARE = 0.2  # share | of the leap within one cycle, where the wheel scrapes | rehearsal
SHORT_OHMS_SHARE = 0.25  # share | of the rated load's ohms: cold filaments and motors at rest have more | judgement
SHORT_COARSE_SHARE = 0.6  # share | of readings that a short fills in part only; a load leaves more | judgement
SHORT_LEAP = 2.5  # times | times the amps before | judgement
SHORT_RATED_SHARE = 0.8  # share | of the supply's rated amps | judgement
SHORT_WORTH_A_LOOK = 0.9  # times | of the volts before | judgement
SHORT_BEYOND = 2.5  # times | times the rated amps within a cycle is no load's, whatever is left of the volts | judgement
SHORT_BEYOND_SHARE = 0.85  # share | of the volts before | judgement
SHORT_FOLDED_ROWS = 12  # readings | half a cycle apart: so long at the end it holds | judgement
SHORT_FOLDED_AMPS_SHARE = 0.8  # share | of the amps before with no volts to drive them: a short | judgement
SHORT_FOLDED_VOLTS_SHARE = 0.1  # share | of the volts before: less is left than of an open feed's half-full window | judgement
SHORT_RECENT_TICKS = 40  # ticks | a short may wait so long for the volts to come back | judgement
SHORT_ASTRIDE_ROWS = 3  # readings | readings, half a cycle apart, that reach into the first cycle and a half | judgement
SHORT_WHOLE_ROWS = 3  # readings | half a cycle apart: where so many show the whole, those over the edge do not count | judgement
SHORT_ASTRIDE_EDGE_ROWS = 2  # readings | half a cycle apart, that reach over the edge at which volts go | judgement
SHORT_COLLAPSED_SHARE = 0.68  # share | of the volts before; lamps and trains that start leave three quarters | judgement
SHORT_OPEN_TICKS = 5  # ticks | a short that goes on is told after so long | judgement
SHORT_HELD_S = 0.2  # s | metal that scrapes bounces; a short that is back within this is the same | judgement

# Overloads before an opening
OPENING_LOOK_BACK_TICKS = 25  # ticks | how far an overload before the opening is looked for | judgement
OPENING_LONGEST_TICKS = 6000  # ticks | ten minutes of heating are looked back on | judgement

# Open feeds
FEED_ZERO_SHARE = 0.015  # share | of the supply's rated amps: less than a sensor's own error | judgement
FEED_DEAD_SHARE = 0.15  # share | of the volts before: what leaks past an open switch | judgement
FEED_FELL_SHARE = 0.9  # share | of the volts: amps that vanish raise them where a feed holds | judgement
FEED_BACK_SHARE = 0.35  # share | of the volts before: the feed is closed again | judgement

# Volts that fall
SAG_FOUND_SHARE = 0.945  # share | of the usual volts, looked into | judgement
SAG_DEPTH = 0.07  # share | of the volts before; trains visibly slow from about a tenth | common practice
SAG_DIP_DEPTH = 0.1  # share | of the volts before: the usual threshold of a dip | IEC 61000-4-30
SAG_ALONG_DEPTH = 0.06  # share | by which the others must have fallen too | judgement
SAG_EDGE_TICKS = 6  # ticks | the fall itself is no longer ago where half a second's volts are still the usual ones | judgement
SAG_RECENT_TICKS = 25  # ticks | seconds of usual volts that a fall is measured against | judgement
SAG_STEADY_TICKS = 16  # ticks | a starting train's surge has faded by then | judgement
SAG_BACK_SHARE = 0.5  # share | of the depth: halfway back is over | judgement
SAG_LEAST_RATED_SHARE = 0.06  # share | a rise of the supply's amps smaller than this does not pull volts down | judgement
SAG_FORGET_TICKS = 6000  # ticks | ten minutes: then the lower volts are the usual ones | judgement
SAG_BY_HAND_SHARE = 0.6  # share | of the rise: a neighbour's hand takes volts here | judgement
SAG_DRIVEN_DEPTH = 0.15  # share | a train driven over takes its load along; only a deep fall is worth a word | judgement

# The mains
MAINS_AT_ONCE_S = 0.035  # s | two cycles: one fall of the mains is everywhere within so long | judgement
MAINS_LINES = 0.5  # share | of the time between two lines: all in one line | judgement
MAINS_WAVERED = 1.5  # times | what the volts waver by from cycle to cycle, from their lowest tenth to their highest | judgement

# The shape of amps that fall and come back
DIP_OVERSHOOT_SHARE = 0.05  # share | of the depth: a surge beyond what was before | judgement
DIP_BESIDE_S = 0.6  # s | levels beside a dip are taken so near to it | judgement
DIP_CLIMB_ROWS = 7  # readings | in a third of the dip: fewer tell no climb | judgement
DIP_CLIMB_SHARE = 0.012  # share | of the depth: less is a converter's noise | rehearsal
DIP_CLIMB_MOST_SHARE = 0.4  # share | of the depth: more is a contact that comes back | judgement
DIP_CLIMB_NOISES = 0.72  # times | what the amps waver by at the bottom: a straight climb is 0.8 of its own | judgement
DIP_STARTING_RATIO = 2.3  # times | no motor surges by more from standstill: something else came on | judgement

# Amps that fall
DROP_LEAST_SHARE = 0.12  # share | of the amps before: one engine of several | judgement
DROP_LEAST_JOINT_SHARE = 0.18  # share | of the amps before: joints that take less drown in grades | judgement
DROP_LEAST_AMPS = 0.03  # A | less drowns in a converter's noise | judgement
DROP_FLICKER_SHARE = 0.25  # share | of the amps before: lit cars take no more, and an engine's loss leaves less | judgement
DROP_SPREADS = 1.6  # times | of the amps' own wavering within a tick | judgement
DROP_SPREAD_TICKS = 11  # ticks | a second of wavering is what a drop is held against | judgement
DROP_LEAST_CYCLES = 1.55  # cycles | losses of about a cycle are what every track has, and no train notices | judgement
DROP_SURE_SHARE = 0.75  # share | of the depth within one cycle: a long loss must be as sharp as this | judgement
DROP_WAVERING_SHARE = 0.05  # share | of the depth: what a lost contact leaves is steady | judgement
DROP_WAVERING_AMPS = 0.06  # A | a converter's own noise wavers by so much | judgement
DROP_LONGEST_LOST_S = 0.55  # s | an engine that lost contact for longer has stopped or dropped out | judgement
DROP_RESTART_RATIO = 1.08  # times | of the amps before: a motor that stopped takes more behind it, a heater does not | rehearsal
DROP_HOLD_SHARE = 0.955  # share | volts that stay above this share of what they were hold | judgement
DROP_DC_HOLD_SHARE = 0.91  # share | a motor fills the pauses of unfiltered DC, and takes its volts along | judgement
DROP_STALLED_TICKS = 25  # ticks | what has not come back by then is no dip | judgement
DROP_SLOWEST_TICKS = 25  # ticks | a slow train takes so long over a joint that leaves it little | judgement
DROP_RECENT_TICKS = 26  # ticks | seconds whose usual amps a sag is held against | judgement
DROP_WAVERED_TICKS = 10  # ticks | the second before, for what amps waver by | judgement
DROP_RECENT_SHARE = 0.85  # share | of the recent amps: a surge that fades is no sag | judgement
DROP_WAVERED = 1.7  # times | of what the amps wavered by in the seconds before | judgement
DROP_NOT_FELL_SHARE = 0.997  # share | less current raises the volts; where both fall, something else is the cause | judgement
DROP_ROSE_SHARE = 1.35  # times | the volts before: what went off was a short, or more than a train | judgement
DROP_FELL_SHARE = 0.985  # share | where both fall by more, somebody turned the volts down | judgement
DROP_NOISES = 2.2  # times | of the readings just before | judgement
DROP_GIVE_UP_TICKS = 1200  # ticks | two minutes: a train that stands so long was left there | judgement
DROP_RECOVERED_SHARE = 0.4  # share | of the depth: back above this, contact is made again | judgement
DROP_SLOWEST_EDGE_S = 0.65  # s | on one side, where the other is quick | judgement
DROP_QUICK_EDGE_S = 0.2  # s | the quick side of a joint | judgement
DROP_LONGEST_EDGE_S = 0.46  # s | a train crosses a joint within this; grades take longer | judgement
DROP_PARTIAL_SHARE = 0.3  # share | of the amps left: by a joint of a train, or by a lost contact of lamps | judgement
DROP_DEEP_SHARE = 0.45  # share | no grade takes so much of the level running amps | judgement
DROP_LONGEST_EDGE_SHARE = 0.3  # share | of the time in a deep joint: a slow train comes into it slowly | judgement
DROP_STEEP_EDGE_S = 0.3  # s | a joint's edges are steep on both sides; a hill's wait for the train | judgement
DROP_SHORTEST_JOINT_S = 0.3  # s | no engine is over a joint sooner | judgement
DROP_COARSE_EDGE_S = 0.35  # s | the same where ten readings a second tell few edges | judgement

DROP_EARLIER_TICKS = 6  # ticks | what was usual half a second earlier, that one loss hides no other | judgement
DROP_SOON_TICKS = 9  # ticks | a loss so soon after another is held against what was before both | judgement
DROP_GOES_ON_RATIO = 1.8  # times | of the amps before: more behind a sag means that another train came | judgement
DROP_FADES_SHARE = 0.9  # share | of the amps a tenth or two earlier: the surge of a motor that starts again fades | judgement
DROP_STARTING_RATIO = 6.0  # times | the amps before: no motor starts with more | judgement
DROP_PAUSED_TICKS = 100  # ticks | the seconds before, of which a solenoid's pulses take the smaller part | judgement
DROP_PULSE_TICKS = 10  # ticks | the coil of a turnout motor is not held for longer | common practice
DROP_PAUSED_LEAST_TICKS = 15  # ticks | less since the volts came on tells nothing of what is usual | judgement
DROP_PAUSED_SHARE = 0.85  # share | of what was drawn for most of them: less is lost | judgement
DROP_SHORTEST_OVER_S = 0.1  # s | no train is on another district's rails for less | judgement
DROP_BRIEF_S = 0.3  # s | no train drives over and comes back, or hands its place to another, so soon | judgement

# A train that stands without contact
STAND_TICKS = 12  # ticks | a train that drew no amps for so long stands | judgement
STAND_BOUNCED_TICKS = 6  # ticks | its pickups may bounce before | judgement
STAND_SHARE = 0.3  # share | of the amps before: lamps and standby are the rest | judgement
STAND_HELD_SHARE = 0.997  # share | of the volts before: less current raises them | judgement
STAND_DC_HELD_SHARE = 0.91  # share | of the volts before, on DC: a coasting motor takes them along | judgement
STAND_SILENT_SHARE = 0.25  # share | of the ripple before: so much less needs no other proof | judgement
STAND_LEFT_SHARE = 0.8  # share | of the least this district drew in the seconds before | judgement
STAND_LEAST_QUANTILE = 0.05  # share | the least that was drawn for long, bounces apart | judgement
STAND_EARLIER_TICKS = 120  # ticks | seconds whose least is looked back on | judgement
STAND_STANDBY_SHARE = 0.35  # share | of the amps before: no load beside a train that runs on takes the rest | judgement
STAND_TRAIN_SHARE = 0.6  # share | of the supply's rated amps: more that goes is no single train's | judgement
STAND_MOSTLY = 0.6  # share | of the ticks behind: contact may spring once more | judgement
STAND_COIL_SHARE = 0.1  # share | of the amps before: the coil of a reversing unit takes more | judgement
STAND_COIL_RIPPLE = 1.3  # times | of the ripple before: a coil has none, and a motor that starts again has more | judgement
STAND_SWITCHED_TICKS = 1200  # ticks | two minutes in which a load was switched on that is switched off | judgement
STAND_SETTLED_TICKS = 5  # ticks | a motor that starts takes more at first, a load does not | judgement
STAND_ALIKE = 0.15  # share | of the depth, by which the rise may differ | judgement
STAND_COARSE = 0.75  # confidence | from ten readings a second | rehearsal
STAND_QUIET = 0.96  # confidence | where the ripple of a motor is gone | rehearsal
STAND_DROPPED_SHARE = 0.4  # share | of its amps: another district that loses so much at once has another reason | judgement

# Weak sections
SECTION_SETTLED_TICKS = 6  # ticks | the engine is on the section by then | judgement
SECTION_SHORTEST_TICKS = 8  # ticks | shorter sags are seen whole by the watcher of drops | judgement
SECTION_LONGEST_TICKS = 120  # ticks | no section takes longer | judgement
SECTION_LEAST_SHARE = 0.15  # share | of the amps before: less is a hill's end, more is no contact | judgement
SECTION_MOST_SHARE = 0.85  # share | of the amps before: less is a hill's end, more is no contact | judgement
SECTION_VOLTS_HELD_SHARE = 0.99  # share | of the volts before: less current raises them | judgement
SECTION_NOISES = 2.0  # times | what the amps waver by just before, from their lowest tenth to their highest | rehearsal
SECTION_STAYS_SHARE = 0.1  # share | of the depth: a motor that slows takes more again | judgement
SECTION_MOSTLY_SHARE = 0.85  # share | of the time on the section | judgement
SECTION_STEP_SHARE = 0.5  # share | of the depth, within some tenths of a second | judgement
SECTION_SURGE_SHARE = 1.04  # share | of the amps before: a motor that slowed takes more when it is fed in full again | judgement
SECTION_EDGE_S = 0.3  # s | an engine's length at running speed | judgement
SECTION_FALL_SHARE = 0.72  # share | of the depth within that time | judgement
SECTION_RISE_SHARE = 0.95  # share | of the depth within that time: the surge rises beyond what was before | judgement
SECTION_START_SHARE = 3.2  # share | of the depth: more is a train that starts, or something switched on | judgement
SECTION_OVER_SHARE = 0.3  # share | of the depth: by which the surge is above what was before | judgement
SECTION_DECAY_SHARE = 0.2  # share | of the depth: by which it is less within a second | judgement
SECTION_DEEP_SHARE = 0.3  # share | of the amps before: no hill's end takes so much | judgement
SECTION_DEEP_WANTED = 0.4  # share | of the surge that is wanted elsewhere | judgement
SECTION_SURGE_TICKS = 12  # ticks | a motor that slowed on the section gathers way for so long | rehearsal
SECTION_BEHIND_TICKS = 20  # ticks | until then levels behind the section are taken | judgement
SECTION_BEHIND_SHARE = 0.25  # share | by which the amps behind may differ from those before | judgement

# Joints that come again
LEAST_CONFIDENCE = 0.6  # confidence | a cause named wrongly is worse than none | judgement
JOINT_SINGLE = 0.5  # confidence | a joint sags lap after lap: one sag alone may be anything | judgement
JOINT_RECURS = 0.95  # confidence | three alike, a lap apart each | rehearsal
JOINT_REMEMBERED = 6  # events | the last sags of a district, of which some may be another train's | judgement
JOINT_ALIKE_SHARE = 0.15  # share | of the amps before: sags as deep as each other | judgement
JOINT_LONGER = 2.8  # times | a train that is slower on its next lap is no longer on the joint | judgement
JOINT_LONGEST_TICKS = 400  # ticks | no lap takes longer, or two where one went unseen | rehearsal
JOINT_WAY_SHARE = 0.08  # share | by which laps differ, counted in volts times seconds | judgement
JOINT_LAPS = (1.0, 2.0, 0.5)  # laps | between the first two and the last two, one of them unseen | judgement

# Amps that leave one district for another
BALANCE_BESIDE_TICKS = 6  # ticks | a train rolls over a gap within so long | judgement
BALANCE_EDGE_S = 0.05  # s | the first and the last wheel are over a gap within so long of the middle one | judgement
BALANCE_LEVEL_S = 0.3  # s | levels beside an edge are taken so near to it | judgement
BALANCE_STEP = 0.25  # share | of the amps lost here: other rails have other volts | rehearsal
BALANCE_NOISES = 1.0  # times | what the other district wavers by, from its lowest tenth to its highest | judgement
BALANCE_PARTLY = 0.4  # share | of the amps lost here that came on elsewhere at once | judgement
BALANCE_MOSTLY = 0.55  # share | of the amps lost here that came on elsewhere at once | judgement
BALANCE_WHOLLY = 0.7  # share | of the amps lost here that came on elsewhere at once | judgement
BALANCE_LEAST_AMPS = 0.03  # A | less drowns in a converter's noise | judgement

# Amps that climb
CLIMB_LEAST_RATIO = 1.18  # times | of the amps just before | judgement
CLIMB_ABOVE_HIGH_RATIO = 1.15  # times | of the highest that grades brought in the laps before | judgement
CLIMB_KNOWN_TICKS = 240  # ticks | until so much of its way was seen a hill looks like binding | judgement
CLIMB_HIGH_QUANTILE = 0.95  # share | what lasts a shorter share of the time are surges, not grades | judgement
CLIMB_LEVEL_QUANTILE = 0.3  # share | a train runs on the level for most of its laps | judgement
CLIMB_LOOK_BACK_TICKS = 600  # ticks | a minute holds some laps | judgement
CLIMB_TOGETHER_TICKS = 300  # ticks | onsets that are looked at together, for speed | judgement
CLIMB_SAME_VOLTS_SHARE = 0.6  # share | laps at volts within this tell what hills there are | judgement
CLIMB_BEFORE_TICKS = 26  # ticks | seconds whose least a climb is measured from | judgement
CLIMB_LEAST_AMPS = 0.05  # A | less drowns in a converter's noise | judgement
CLIMB_REMEMBERED = 8  # events | bound stretches that are left out of what laps brought | judgement
CLIMB_STAYS_TICKS = 12  # ticks | a surge has faded by then | judgement
CLIMB_STAYS_SHARE = 0.6  # share | of the climb: above this it stays | judgement
CLIMB_LASTS_SHARE = 0.85  # share | of the first amps a second later: a surge behind a weak section fades | rehearsal
CLIMB_ARRIVAL_RATIO = 3.5  # times | a running train does not draw so many times its usual without stopping | judgement
CLIMB_ARRIVAL_S = 0.16  # s | a fifth to four fifths of the climb: inertia keeps a bound train turning for longer | judgement
CLIMB_LEFT_SHARE = 0.85  # share | of the least it drew just before: a train left; a grade's end leaves more | judgement
CLIMB_LEFT_TICKS = 120  # ticks | seconds of the other district's way | judgement
CLIMB_HOLD_SHARE = 0.85  # share | of the volts before: more loss is a short or a sag | judgement
CLIMB_SURE = 1.25  # times | of the highest: beyond hills of the other direction, too | rehearsal
CLIMB_FALL = 0.2  # share | of the share by which the amps climb: volts that fall by more do not hold | judgement
CLIMB_STALL_RATIO = 1.3  # times | of the highest that laps brought before | judgement
CLIMB_STALL_S = 0.4  # s | a blocked train stands by then | judgement
CLIMB_STALL_RIPPLE = 1.2  # times | of the ripple before; of far more amps | judgement
CLIMB_STALL_RELATIVE = 0.75  # times | of the ripple before, each as a share of the amps | judgement
CLIMB_SILENT_SHARE = 0.4  # share | of the ripple before: whatever is drawn, it is no motor that turns | judgement
CLIMB_LEFT_OF_CLIMB = 0.5  # share | of a climb, and of its own amps, that another district lost at once | judgement
CLIMB_LEFT_OF_OWN = 0.3  # share | of a climb, and of its own amps, that another district lost at once | judgement
CLIMB_CLOSED_SHARE = 0.75  # share | of the climb within one cycle: a contact closed, whatever the ripple | judgement
CLIMB_SWITCHED_SHARE = 0.62  # share | of the climb within one cycle: a motor takes some to stop | judgement
CLIMB_LAMP_QUIET = 0.35  # share | amps that waver less than this share of what they do later had no motor among them | judgement

# Amps that stand still
STILL_AFTER_TICKS = 2  # ticks | a motor's amps have risen by then | judgement
STILL_TICKS = 30  # ticks | wheels and grades show within so long | rehearsal
STILL_QUANTILE = 0.02  # share | of the stretches of the laps: the quietest, single ones apart | judgement
STILL_SHARE = 0.65  # share | of what the quietest waver by: a load switched on adds to that, a stalled motor ends it | rehearsal

# DC signals
SIGNAL_LEAST_VOLTS = 0.45  # V | sound units react from about 1 V, of which a phase-cut output passes half | common practice
SIGNAL_HELD_TICKS = 2  # ticks | a signal is held for tenths of a second | judgement
SIGNAL_USUAL_TICKS = 50  # ticks | seconds whose offset is the converter's own | judgement

# Throttles
THROTTLE_APART_TICKS = 16  # ticks | a hand takes half a second to some seconds | judgement
THROTTLE_LEAST_SHARE = 0.035  # share | of the volts: smaller moves drown in the mains' own | judgement
THROTTLE_FOLLOW_SHARE = 0.35  # share | neighbours that move more than this share of it have a common cause | judgement
THROTTLE_STILL_SHARE = 0.008  # share | of the volts: moved by less they stand still | judgement
THROTTLE_AGAINST_SHARE = 0.06  # share | of the amps: who draws more while the volts fall is a load, not a hand | judgement
THROTTLE_AGAINST = 0.8  # share | of the volts' own share | judgement
THROTTLE_LONGEST_TICKS = 80  # ticks | a hand is done by then | judgement
THROTTLE_QUICKEST_TICKS = 3  # ticks | no hand is quicker that does not slam the lever shut | judgement
THROTTLE_LEAST_SIGNAL_VOLTS = 0.3  # V | an offset that changes by so much is a DC signal's | judgement
THROTTLE_CLEAR = 0.8  # confidence | 40 of 49 on unseen seeds; mains that waver move volts as well | rehearsal
THROTTLE_SLID = 0.9  # confidence | all the way down through some cycles | judgement
THROTTLE_SLIGHT = 0.6  # confidence | a move of up to twice the least: 14 of 23 | rehearsal
THROTTLE_SHARPEST_SHARE = 0.6  # share | of the move within one cycle: a hand is slower | judgement

# Edges
EDGE_FINE_S = 0.03  # s | readings so near to each other tell edges | judgement
EDGE_SHARP_SHARE = 0.45  # share | of the whole within a cycle: a switch or a lost contact; a mechanism is slower | judgement

# Lights that flicker
FLICKER_MINUTE_TICKS = 600  # ticks | counted by the minute | judgement
FLICKER_DECIDED_TICKS = 40  # ticks | what began before is decided by then | judgement
FLICKER_LEAST_A_MINUTE = 3  # flickers | fewer are not worth a word | judgement

# Amps beyond the range of their sensor
CLIP_TIMES = 3.0  # times | a wave is restored up to this many times the range; beyond, its flanks say too little | judgement
CLIP_CUT_RAD = 2.3  # rad | a wave cut later than this has too little flank | judgement
