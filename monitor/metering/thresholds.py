"""Every figure by which the meter decides, in one table: value, reason and source; the unit is the last word of the name, or is said.

"Common practice" is a fact of the trade without a published source; what names none is ours, held against the oracles of the tests.
"""

import numpy as np

# sine_fit.py
HOPS = 4
"""A frame is four hops of half a nominal cycle: two cycles."""
SAMPLE_LIVE_COUNTS = 6.0
"""A sample nearer to zero than this may lie in the pause of a phase-cut waveform."""
LEADING = 1.25
"""Edges lie at the beginnings of half cycles unless their ends are so much larger: a few samples look the same both ways, and triacs fire."""
EDGE_WEIGHT = 0.003
"""Of a sample that may lie on an edge: it tells where nothing else does, and else turns the phase by no more than 0.1 degrees."""
WEAKEST = 2e-5
FIRMEST = 1e-3
"""Lowest determinant of a fit that tells a phase at all, and without samples that may lie on an edge, by the square of the number of
samples; a whole sine has a quarter."""
DEAD_SHARE = 0.08
"""With more samples than this in pauses the mains is fitted to the others only; a plain sine has some 2 %."""
PAST_FRAMES = 3 * HOPS
"""Four frames are fitted together, one after the other: two thirds of those sixteen that a view of the mains is made of lie in each."""
ROUGH_FRAMES = 64
"""About half a second: a fundamental that leaps by some degrees as samples come and go tells the frequency to 0.1 Hz."""
TUNING = 0.01
"""Step of the frequencies at which frames are fitted, as share of the nominal one."""
WEAK_FRAMES = 120
"""For about a second the frequency known carries on better than a phase taken from samples that may lie on an edge."""
FIRM_FRAMES = 24
"""So many firm fits one after the other make a view of the mains that can be carried on."""
UNTOLD_FRAMES = 240
"""For two seconds after a phase was taken from samples that may lie on an edge, places of edges found meanwhile are worth nothing: by
then a sample has crept across them in all but the rarest keeping of step (worked out)."""

# aggregation.py
WINDOW_FULL_SHARE = 0.5
"""A window needs so large a share of its half cycles: where packets are lost the others still tell."""
ON_GRID_HERTZ = 3.0
"""A grid that runs at the nominal frequency to within this has the mains it was made for."""

# board_supply.py
LOW_SHARE = 0.92
"""Below this share of its nominal supply a board's converter is no longer to be trusted: 4.6 V of 5 V (USB allows 4.75 V at the plug,
USB 2.0 section 7.2.2, from memory; a hobby board's own diode or fuse takes some more)."""
FIRST_HEALTH_S = 1.5
"""The reset cause stays in every packet until the next start; only the first one after a start speaks of it."""
WANDER_SHARE = 0.02
"""A supply that moves by more than this takes uncorrected figures further than a calibration left open (1.96 times 0.8 %)."""
AVERAGED = 4
"""A figure of the supply is the mean of so many packets, one a second."""
NOMINAL_VOLTS = (3.3, 5.0)
"""What boards are made for (common practice, no published source)."""

# board_meter.py
KEPT_S = 1.0
"""An aggregate, the longest window, ends no further back than this."""

# phasing.py
USUAL_REGULATION = 0.10
"""Share of its volts that a toy transformer loses at its rated amps (common practice, no published source)."""
STEADY_WINDOWS = 5
"""One second of aggregates must agree before anything is said."""
STEADY_DEGREES = 10.0
STEADY_VOLTS_SHARE = 0.05
TOLERANCE_DEGREES = 20.0
"""Transformers under load turn the phase by some degrees; two supplies on one mains are else at 0 or 180 (trade at large)."""
LOWEST_VOLTS = 2.0
CHANGED_WINDOWS = 15
"""A verdict once given changes only after three seconds of others."""
KEPT_FRAMES = 60
"""Half a second: an aggregate before a hole is told of only after it."""
AGAIN_AFTER_S = 30.0
"""Unless the verdict changes, nothing is said again within this time, nor while the difference stays within 15 % or a volt."""

# calibration.py
METER_SHARE = 0.008
METER_DIGITS = 0.02
"""Standard uncertainty of a usual handheld meter's AC ranges: 0.8 % and two digits of 0.01 (common practice, no published source)."""
CALIBRATED_LEAST_COUNTS = 20.0
"""Known readings below this say more about noise than about gain."""
LOUDEST_ZERO_COUNTS = 6.0
"""A sound channel with nothing to measure moves by a count or two."""
MOVED_ZERO_COUNTS = 1.0
"""From one second to the next its mean does not move at all."""
MOVED_SHARE = 0.02
"""What a meter is held to stays as it is while it is read, to within this share."""
GAIN_LIMITS = (0.9, 1.1)
"""A gain beyond means a slip, another channel or another range: four resistors of 5 % make 0.91 to 1.09 (closed form)."""
GAIN_UNCERTAINTY_LIMIT = 0.03
"""Readings that leave more open do not agree with each other, or are too small."""
HIDDEN_RATIO = 4.0
"""A board's own filter leaves a seventh of 20 kHz and less of more (closed form), where a meter that is rated for it shows all."""
SLIP_NEAR = 0.06
"""How near a ratio has to be to one of them: a meter, a divider and a sensor together."""
ZERO_LIMIT_SHARE = 0.1
"""A zero further off than this share of the board's own zero (or 100 counts) was not taken at zero."""

# channel_health.py
CHANNEL_LIVE_COUNTS = 24.0
"""RMS counts from which a channel is plainly in use: a reading of about 5 % of a 10-bit channel's range."""
QUIET_COUNTS = 4.0
"""RMS counts below which a channel is plainly at rest, drift and noise of a sound channel included."""
NOISY_COUNTS = 6.0
DRIFT_COUNTS = 3.0
AWAY_COUNTS = 8.0
"""How far from zero a channel has to stand still to be stuck: an unused channel may be dead quiet at zero."""

# channels.py
SHORTEST_INTERVAL_S = 5e-6
"""No serial line carries scans closer together."""
FEWEST_SCANS_A_CYCLE = 6
"""With fewer, a cycle cannot be measured."""
FULL_SCALE_LIMITS = (0.01, 10_000.0)
"""Volts or amps that the whole range of a converter can stand for; a scale beyond is a mistake in the sketch or calibration."""

# cut_edges.py
MOST_WAITING = 3
"""No more samples than this are taken for on the way; those of boards that scan faster than 2400 times a second matter little."""
USUAL_WIDTH = 5
"""Row of the response's tables for a triac's edge of 20 us (common practice, no published source)."""
TOO_WIDE = 1.5
"""What shows so many times the trace of the widest edge is a waveform that passes zero slowly."""
EDGELESS_HALVES = 240
"""A row of samples that has shown no edge for two seconds has none."""
UNTOLD = 0.03
"""A fraction so close to nothing or to all bounds the place on one side only."""

# cycle_sums.py
MARGIN_SCANS = 8
"""Samples needed on either side of a window: interpolation takes three, skew one, an edge up to seven."""
LONG_HOLE_S = 1.0
"""After a longer hole the grid is placed anew; over a shorter one it runs on."""

# disturbances.py
DIP_BELOW = 0.90
SWELL_ABOVE = 1.10
HYSTERESIS = 0.02
INTERRUPTION_BELOW = 0.05
"""IEC 61000-4-30 sections 5.4 and 5.5: usual threshold, hysteresis and limit, as shares of the reference."""
SLIDE_S = 60.0
"""Time constant of the sliding reference, a first-order filter of the aggregates (section 5.4.4)."""
TAKEN_OVER_S = 10.0
"""A dip or swell that lasts longer is a throttle's new setting: it ends, and the reference starts anew from there."""
STEADY_SHARE = 0.05
LOWEST_REFERENCE_VOLTS = 2.0
"""Below, an output is as good as off and has nothing to dip from."""

# edge_shapes.py
WIDEST_S = 320e-6
"""No edge is taken for wider than this: filtered triacs have some 50 us, transistors of dimmers up to 250 (common practice)."""
STEPS = 16
"""Widths between 0 and the widest that are told apart; below them as many quarters of the time constant, for boards without it."""
FILTER_QUARTERS = 4
FRACTIONS = 100
"""Steps of the tables by fraction of the edge."""
PARTLY = (0.06, 0.94)
"""Fractions between these count as caught on the way; closer to either end noise and harmonics look the same."""
STEEPEST = 1.6
"""Beside a true edge the waveform changes by no more than this factor from sample to sample; natural zeros change by more."""
EDGE_LEAST_COUNTS = 8
"""No edge is looked for beside anything smaller."""
SURE_SINE = 0.25
LEAST_SINE = 0.12
"""A settled sample at so much of the sine tells its size well; below the lower one it is too close to the natural zero to tell it."""
HELD_MOST = 1.3
"""Times the size held from half cycles that show it well, the sine behind a deep cut is no larger."""
FRACTION_DOUBT = 0.04
"""Harmonics bend the sine from which a fraction is taken by so much, as a share of it (3 % of third harmonic, worked out)."""
NOISE_DOUBT_COUNTS = 2.5
PHASE_DOUBT_RAD = 0.03
"""How far the grid's phase may be off where it is all that tells how the sine lies."""

# edge_track.py
MOVED_CELLS = 1.5
"""An edge that leaps by more than this from one cycle to the next was moved: nothing is known of where in its cell it is."""
STRETCH_HALVES = 32
"""Means that fade are carried on from stretch to stretch of so many: any number does, this one is quick."""
WIDTH_HALVES = 4096
"""Half cycles that the width of an edge is averaged over."""
WIDTH_PRIOR_CELLS = 1.5
"""The usual width counts as much as so many cells that samples crept across."""
SIZE_HALVES = 8
"""Half cycles that the size of a deeply cut sine is averaged over."""

# waveform.py
CYCLES_BEFORE = (3, 4, 11)
"""Samples are compared with those so many cycles before. Pulses that seem to keep step over one of them do not over the others."""
MAINS_OFF = (-0.004, -0.002, 0.0, 0.002, 0.004)
"""And that for mains off their nominal frequency by these shares; 0.2 Hz of 50 is the most of usual service (EN 50160, from memory)."""
FEWEST_SAMPLES = 40
"""Fewer say nothing of a ripple."""
WINDOW_QUARTERS = 4
"""Windows are looked at in so many parts. An output switched on or off spoils two of them at most, so the second lowest stands."""
BOTH_WAYS = 0.2
"""AC reaches at least this share of its higher peak in the other direction, whatever offset sounds the whistle."""
LOPSIDED = 0.1
"""The two half cycles of AC hold the same energy about the mean to within this share, whatever its offset; those of half waves, also
with a motor's own volts in the pauses, do not (a triac with halves 4 degrees apart: 0.09 at 120 degrees, closed form)."""
SLIGHTLY_LOPSIDED = 0.03
"""Amps that flow one way only make half waves of volts that are lopsided by as little as this."""
ONE_WAY = 0.1
"""Amps that reach no more than this share of their higher peak in the other direction flow one way."""
SOME_STEEP = 0.25
"""A sine has no steep edges at all; a triac's that a motor's current holds on to its last moment show in some half cycles only."""
RIPPLE_OF_DC = 0.1
"""DC has less than this share of its mean as RMS ripple; a full-wave rectified sine has 0.48 (textbook)."""
TWO_LEVELS = 1.13
"""Mean times peak over mean square, taken from the lowest value up: 1 for a waveform of two levels, 4/pi = 1.27 for rectified
sines (closed forms), 1.5 for the sawtooth of a smoothing capacitor; half way between the first two lies the limit."""
FAST_RIPPLE = 0.04
"""Ripple, as a share of the mean, that does not come from the mains. Pulses of 25 kHz leave 0.045 behind a board's own filter of 56 us
where they are on for 85 % of the time (closed form); what a motor's commutator does to the volts of a supply stays below."""
STRANGE = 0.4
"""Of a ripple that the mains makes, no more than this share is left between samples some cycles apart: 0.12 of a full-wave rectified
sine, whose corners fall between samples, 0.34 of a half wave that a motor's current ends with a jump (ngspice)."""
BY_TURNS = -0.9
"""Means of half cycles of AC go up and down by turns, also within 8 Hz of the grid (cosine of 154 degrees, closed form); those of AC that is
chopped many thousand times a second do not, for the scans meet it at any moment."""
CHOPPED = 0.45
"""AC of which so large a share does not come back after some cycles has another frequency than the mains: the edges of a phase-cut sine,
which samples creep across, leave 0.35 and chopped AC leaves 0.9 (from the oracle of the tests)."""
RESTLESS_COUNTS = 1.5
"""An output that reads as good as nothing and moves by so much beyond the converter's noise, not with the mains, may be chopped AC of 40 kHz
and more, of which the board's own filter leaves a fiftieth (closed form)."""
SMOOTHEST = 0.02
"""Ripple of any kind, as a share of the mean, below which it is not worth to be looked into."""
MAINS_HERTZ = (50.0, 60.0)
"""The public mains of the world."""
NEAR_HERTZ = 1.5
"""How near to one of them a frequency has to be; public mains stay within 1 Hz (EN 50160, from memory)."""
FEWEST_HALVES = 8
"""Fewer half cycles tell no frequency."""
MOST = 0.4
"""Rippled is a waveform that is so within so large a share of its half cycles; one switched on or off is so in one or two."""

# grid.py
SLEW_RAD = 0.005 * np.pi
"""Highest step of the grid's phase in one half cycle (0.5 % of the window's length) while it moves to another phase."""
HELD_FRAMES = 120
"""About a second: for so long after the last sight of the mains the frequency still counts as known."""
STEADY_FRAMES = 64
"""Half a second: the grid runs on at the mean frequency of so many frames, for that of one is known to a hundredth of a hertz only."""

# line_rows.py
SETTLED_AFTER_S = 3.0
"""By then a board has sent each of its outputs at least once: they send each several times a second (``firmware_notes/wire.md``)."""
USUAL_INTERVAL_S = 0.1

# line_plausibility.py
VOLTS_LIMIT = 2.0
AMPS_LIMIT = 100.0
"""The largest current sensors of hobby boards end there (common practice, no published source)."""
VA_LIMIT = 8.0
LEAST_SHARE = 0.005
"""A thousandth of the figure that is less than this share of the supply's highest says nothing of thousandths."""
NEGATIVE_SHARE = 0.05
"""A figure less far below zero, as a share of the supply's highest, is a zero that is slightly off, and counts as zero."""
TIMES, WITHIN_S = 3, 60.0
"""One figure that cannot be is a digit lost on the way. So many within so long are a scale that is wrong: then no figure of the channel
is shown, for those that could be are as wrong."""
CLIPPED_ROWS, CLIPPED_LOAD = 8, 2.0
"""Amps that stand still to the last digit for so many rows, at the highest ever seen and above so many times the rating, are the end of
the sensor's range: a real overload moves."""

# mains_view.py
WINDOW_FRAMES = 16
"""Frames that one estimate is made of; with the frames' own length about ten half cycles beyond them: 9 to 10 cycles."""
RIPE_FRAMES = WINDOW_FRAMES + 1
NODE_BACK_SCANS = 7
"""A node lies this far before the end of its frame's scans, so that what is cut at nodes can still be interpolated."""
FAINTEST_COUNTS = 1.5
"""Lowest amplitude of the fundamental, in counts, that counts as seen; the noise of a 10-bit converter leaves 0.05."""
MAINS_STEADIEST = 0.85
"""Lowest share of the frames' energy that turns steadily; noise has about 0.25."""
BAND = 0.1
"""Mains and resonator together are never further off the nominal frequency."""

# phasing_across.py
WINDOW_S = 0.2
"""Whole cycles of 50 and of 60 Hz."""
CLOCKS_DEGREES = 43.0
"""Two boards' clocks apart by 2 ms at 60 Hz."""
ACROSS_TOLERANCE_DEGREES = 20.0
"""Between two supplies on one mains, as for two on one board."""
SETTLING_S = 60.0
"""A board's clock is told by the delays of the last minute."""
ACROSS_STEADY_DEGREES = 25.0
ACROSS_FULL_SHARE = 0.95
KEPT_WINDOWS = 50

# readings.py
HOLE_TIMES = 3.0
"""A row of a line board that comes so many times later than usual has a hole before it (common practice, no published source)."""

# uncertainty.py
NOISE_COUNTS = 1.0
"""Standard deviation of one conversion of a hobby board, quantisation included (common practice, no published source)."""
SURELY = 1.5
"""What moves by so many times the noise is more than noise: 240 samples of it tell their deviation to within 5 %."""
RESISTOR_PARTS, RESISTOR_LIMIT = 4, 0.0047
"""A divider as wiring.md has it: two resistors above and two below, 1 % each, of which each takes 47 % into the gain (closed form)."""
SENSOR_LIMIT = 0.015
"""A Hall-effect sensor's scale at room temperature (wiring.md; common practice, no published source)."""
VOLTS_ZERO_PARTS, VOLTS_ZERO_LIMIT = 2, 0.00235
"""A divider's zero, as share of the converter's range: each of the two resistors below shifts it by so much (closed form, 1 %)."""
AMPS_ZERO_LIMIT = 0.003
"""A sensor rests within 15 mV of half of 5 V (wiring.md; common practice, no published source)."""
USUAL_READING = {"V": 14.0, "A": 3.0}
"""What the meter showed at a calibration of which the layout file keeps no uncertainty (common practice, no published source)."""
CALIBRATED_ZERO_COUNTS = 0.3
"""What is left of a zero that was taken once: the sensor warms up (common practice, no published source)."""
SUPPLY_LIMIT = 0.05
"""A board that does not measure its own supply has what USB allows: 4.75 to 5.25 V (USB 2.0, 7.2.2, from memory)."""
SAME_PORT_LIMIT = 0.005
"""How far that supply strays from where it was when a meter was held to the board (common practice, no published source)."""
TIMING_S = 5e-6
"""Standard deviation of the delay between volts and amps: two filters of 56 us with capacitors of 10 % (closed form, wiring.md)."""
TAILS_PART = 3.8
"""How fast the other tail fades as an interval's middle moves away by standard deviations (fitted to the normal distribution)."""
LIFT = 1.5
"""A wrong zero z adds z squared to a mean square; its RMS over a uniform or normal z is 1.34 or 1.73 times half of its variance over the
reading (closed forms)."""
EDGE_S = 8e-6
"""Standard deviation of the place of a phase-cut waveform's edges beyond what the meter itself leaves open: filters whose parts are off by
10 % (3.3 us, closed form), edges of other shapes than a ramp, noise (from the oracle of the tests)."""
IN_STEP, IN_STEP_SCANS = 0.03, 0.1
"""Where a half cycle is so close to a whole number of scans, samples creep along an edge by no more than that from one to the next; for
seconds its place hangs on one of them, and is open by a tenth of a scan (from the oracle of the tests, 30 to 150 degrees)."""
PRODUCT_S = 30e-6
"""The same of volts times amps: amps that a winding smooths have no edge to tell what they were beside that of the volts, and two filters
that differ move two edges apart (from the oracle of the tests); in step, where one channel may see an edge for seconds before the other
does, no less than its place."""
PEAKED = 1.6
"""AC with a higher crest factor and no edge that could be found may be cut all the same, on another phase of the mains than the grid:
a sine has 1.41, a filtered triac's output stays below 1.55 up to 60 degrees (closed form)."""
CENTRED = 0.2
"""Both half cycles of AC are much alike; half waves have a mean of 0.64 of their RMS (closed form)."""
UNSEEN_SCANS = 0.29
"""An edge that was not found lies anywhere within a scan (uniform, half of one either way)."""
HIDDEN = 10.0
"""A board's own filter of 56 us leaves a ninth of a ripple of 25 kHz (closed form, wiring.md), the fastest of usual throttles."""
OFF_COUNTS = 6.0
"""RMS counts below which an output counts as off."""
