"""Every figure that decides how bytes are understood, in one table: value, unit, reason, source. What a form itself says stands with it.

"common practice" is a fact of the trade without a published source; "measured" is where one way takes as long as the other.
"""

# Finding the form
EARLY_FAULTS = 1000  # faults | kept while no form is known; more of them would say nothing new | judgement
HELD_BYTES = 50_000  # bytes | of samples wait for an identity, sent once a second: a second at 500000 baud | judgement

# Lines
BLOCK_BYTES = 1 << 15  # bytes | read at once: arrays of more leave the processor's cache | measured
FEWEST_AT_ONCE = 16  # lines | fewer take less time one by one | measured
SHAPES_AT_ONCE = 8  # shapes | looked for in a block; lines of further ones are read one by one | judgement
SHAPES_KEPT = 256  # shapes | remembered; sketches print a handful | judgement
MAPPED_LINE_BYTES = 2048  # bytes | a longer line of a sketch's own is dropped up to its end | judgement
STRANGE_SHARE = 0.25  # share | of characters that are no text: from there on a board starts at another rate | common practice
SHOWN_CHARACTERS = 80  # characters | of a line that a sentence quotes | judgement
INTERVAL_MS = 100.0  # ms | between lines without a clock where neither layout nor arrival tells | common practice

# Guessing what lines mean
FEWEST_LINES = 3  # lines | with line ends in text show that the rate is right, and a rhythm | judgement
AGREED_SHARE = 0.7  # share | of the lines have to have the same fields | judgement
MILLI_ABOVE = 300.0  # V or A | no layout's output has so many: it prints thousandths | common practice
EVEN_STEPS = 3.0  # times | the usual step between two times of lines, and no longer | judgement
MILLI_SCALE = 0.001  # per unit | of figures in thousandths | definition

# Looking at bytes that are not understood
INSPECTED_BYTES = 1 << 16  # bytes | more than a second of the usual packed link, so that an identity is among them | judgement
QUOTED_BYTES = 8192  # bytes | of text from which the last lines are quoted | judgement
TEXT_SHARE = 0.9  # share | printable from which it is text: at a wrong rate a third or so is printable | common practice
FEWEST_BYTES = 8  # bytes | fewer say nothing | judgement
FEWEST_PACKETS = 5  # packets | with a wrong CRC, all of them: the sketch's sum is wrong, not the cable | judgement
LINE_END_WITHIN_BYTES = 400  # bytes | of text without an end of a line: its sketch prints none | judgement

# Time of boards
NEAR_ZERO_S = 30.0  # s | a count that falls back below is a restart; another step back is a packet that came twice | judgement
SMALL_STEP_MS = 1000  # ms | back at most, without being a leap: lines of one round out of order | judgement
ROUNDS_LOST = 3  # rounds | ahead of that step at most, without being a leap | judgement
FEW_LINES = 48  # lines | fewer are placed one by one in less time than at once | measured
