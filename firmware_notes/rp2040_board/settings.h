/* Everything about this 3.3 V board that you may want to change. The arithmetic of the inputs stands in ../wiring.md.

   NEVER connect the divider or a current sensor of a 5 V board: more than 3.3 V at a pin destroys the chip. */

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
#define BOARD_BAUD 921600UL
#endif

/* Analogue pins that your board brings out, GPIO26 on: 4, or 3 where GPIO29 measures the board's own supply. */
#ifndef PINS
#define PINS 4
#endif

/* 1: each pin goes through a two-way analogue switch, all of them turned by SWITCH_GPIO (low first). That doubles the inputs:
   channel k is on pin k % PINS, at the switch's side k / PINS. */
#ifndef SWITCHED
#define SWITCHED 0
#endif
#define SWITCH_GPIO 2

/* All channels, this often: 48 MHz / 2423 / 8 = 2476 scans a second, no multiple of 100 or 120, so that the edge of a chopped wave
   falls between two samples at another place in each half cycle. */
#define SCAN_CLOCKS (2423UL * 8UL)

#define REFERENCE_VOLTS 3.3f /* measured at the chip's analogue supply pin while it runs */

#define DIVIDER_TOP_OHMS     94000.0f /* two of 47 k in series: if one fails short, the other still protects the pin */
#define DIVIDER_SIDE_OHMS    6800.0f
#define SENSOR_VOLTS_PER_AMP 0.066f /* a sensor that runs on 3.3 V and rests at half of it */

#define HALF_SIDE_OHMS    (DIVIDER_SIDE_OHMS / 2)
#define DIVIDER_GAIN      (HALF_SIDE_OHMS / (DIVIDER_TOP_OHMS + HALF_SIDE_OHMS))
#define VOLTS_PER_COUNT   (REFERENCE_VOLTS / 4096 / DIVIDER_GAIN)
#define VOLTS_ZERO_COUNTS (2048 * DIVIDER_TOP_OHMS / (DIVIDER_TOP_OHMS + HALF_SIDE_OHMS))
#define AMPS_PER_COUNT    (REFERENCE_VOLTS / 4096 / SENSOR_VOLTS_PER_AMP)
#define AMPS_ZERO_COUNTS  2048.0f

/* Volts and amps take turns, district after district: channels 0 and 1 are the first. */
#define VOLTS_CHANNEL {'V', VOLTS_PER_COUNT, VOLTS_ZERO_COUNTS}
#define AMPS_CHANNEL  {'A', AMPS_PER_COUNT, AMPS_ZERO_COUNTS}
#define DISTRICT      VOLTS_CHANNEL, AMPS_CHANNEL

#endif
