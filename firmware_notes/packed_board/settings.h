/* Everything about this board that you may want to change stands here.

   The converter gives counts from 0 to 1023 for 0 to SUPPLY_VOLTS at its pin. The board sends those counts as they are, and
   tells the host once a second, for each channel, what one count is worth ("scale") and which count means zero ("zero"):

       volts or amps = (count - zero) * scale

   Volts channels (pins A0, A2, A4, A6): the output reaches the pin through DIVIDER_TOP, and two equal resistors DIVIDER_SIDE,
   one to the board's +5 V and one to its common, lift it to the middle of the converter's range.

       output hot pole --[ DIVIDER_TOP ]--+-- pin             the two sides together act as one resistor of half
                                          |                   their value, tied to half the supply:
                    +5 V --[ SIDE ]-------+-------[ SIDE ]-- common
                                                                  half = SIDE / 2
       gain at the pin  = half / (TOP + half)                     6 k / (94 k + 6 k)        = 0.0600
       volts per count  = SUPPLY_VOLTS / 1024 / gain              5 V / 1024 / 0.06         = 0.08138 V
       count at 0 V     = 512 * TOP / (TOP + half)                512 * 94 k / 100 k        = 481.28
       reach            = -39.2 V to +44.2 V, so a 24 V (RMS) sine fits with room for a high mains

   Amps channels (pins A1, A3, A5, A7): an isolated current sensor whose output rests at half the supply and moves by
   SENSOR_VOLTS_PER_AMP for each amp.

       amps per count   = SUPPLY_VOLTS / 1024 / SENSOR_VOLTS_PER_AMP     5 V / 1024 / 0.1 V/A     = 0.04883 A
       count at 0 A     = 512
       reach            = +-25 A less what the sensor itself cannot swing

   Resistors and sensors have tolerances: measure one known voltage and one known current and let the host's calibration take
   up what is left, or correct the figures here. */

#ifndef SETTINGS_H
#define SETTINGS_H

/* 0 to 255; give each board of a layout its own */
#ifndef BOARD_NUMBER
#define BOARD_NUMBER 0
#endif

/* At most 16 bytes; the layout file calls the board by it. */
#ifndef BOARD_NAME
#define BOARD_NAME "bench-1"
#endif

#ifndef BOARD_BAUD
#define BOARD_BAUD 500000UL /* exact with a 16 MHz clock; below about 220000 the samples no longer fit */
#endif

/* Scans a second follow from the channels: 9615 conversions a second, so 1202 scans with eight, 1602 with six. 1202 nearly keeps step
   with half cycles of 60 Hz (10.02 samples): the edge of a chopped wave creeps across a sample gap in half a second. pilotlamp
   follows such edges; where a throttle is nearly closed (150 degrees) six channels serve better. */
#define SCANS_PER_PACKET 10     /* with eight channels at most 15: a packet may be 254 bytes long */

#define SUPPLY_VOLTS        5.0f  /* measured at the board's +5 V pin while it runs */
#define REFERENCE_MILLIVOLTS 1100 /* the chip's internal reference: 1000 to 1200 by its data sheet, 1100 typical */

#define DIVIDER_TOP_OHMS     94000.0f /* two of 47 k in series: if one fails short, the other still protects the pin */
#define DIVIDER_SIDE_OHMS    12000.0f
#define SENSOR_VOLTS_PER_AMP 0.1f

#define HALF_SIDE_OHMS    (DIVIDER_SIDE_OHMS / 2)
#define DIVIDER_GAIN      (HALF_SIDE_OHMS / (DIVIDER_TOP_OHMS + HALF_SIDE_OHMS))
#define VOLTS_PER_COUNT   (SUPPLY_VOLTS / 1024 / DIVIDER_GAIN)
#define VOLTS_ZERO_COUNTS (512 * DIVIDER_TOP_OHMS / (DIVIDER_TOP_OHMS + HALF_SIDE_OHMS))
#define AMPS_PER_COUNT    (SUPPLY_VOLTS / 1024 / SENSOR_VOLTS_PER_AMP)
#define AMPS_ZERO_COUNTS  512.0f

/* One entry a pin, A0 first: quantity ('V' or 'A'), scale, zero. A board with six inputs: delete the last line, and the
   backslash and comma before it. */
#ifndef CHANNEL_LIST
#define VOLTS_CHANNEL {'V', VOLTS_PER_COUNT, VOLTS_ZERO_COUNTS}
#define AMPS_CHANNEL  {'A', AMPS_PER_COUNT, AMPS_ZERO_COUNTS}
#define CHANNEL_LIST                                                                                                          \
    VOLTS_CHANNEL, AMPS_CHANNEL, /* A0 and A1: district 0 */                                                                  \
    VOLTS_CHANNEL, AMPS_CHANNEL, /* A2 and A3: district 1 */                                                                  \
    VOLTS_CHANNEL, AMPS_CHANNEL, /* A4 and A5: district 2 */                                                                  \
    VOLTS_CHANNEL, AMPS_CHANNEL  /* A6 and A7: district 3 */
#endif

#endif
