/* The packed-form sensor board: eight channels, sampled by interrupts, sent by interrupts, packed in between. */

#ifndef BOARD_H
#define BOARD_H

#ifdef __cplusplus
extern "C" {
#endif

/* Take over converter, timer 1 and serial port, and start sampling. Call once. */
void board_begin(void);

/* Send what is due, then doze until the next interrupt. Call for ever. */
void board_work(void);

#ifdef __cplusplus
}
#endif
#endif
