/* Packets of the packed form, stuffed straight into the transmit ring. Plain C with no hardware in it, so that it also compiles
   on a desk computer for the tests.

   One writer (the main loop) opens, fills and closes packets; one reader (the transmit interrupt) takes bytes. The reader never
   sees a packet before it is closed, so what goes out is whole packets only. */

#ifndef PACKET_H
#define PACKET_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define RING_BYTES 512u /* a power of two; one place always stays free */

enum packet_type { PACKET_IDENTITY = 1, PACKET_SAMPLES = 2, PACKET_HEALTH = 3 };

/* Empty the ring, start the sequence at 0 and put in the one zero byte that a stream starts with. */
void packet_begin(void);

/* Start a packet of exactly body_bytes (at most 248) of body. Gives false, and changes nothing, if the ring lacks room for all
   of it: such a packet takes no sequence number, because it was never sent. */
bool packet_open(uint8_t type, uint8_t body_bytes);

void packet_u8(uint8_t value);
void packet_u16(uint16_t value);
void packet_u32(uint32_t value);
void packet_f32(float value);

/* Add the CRC and the delimiter and let the reader have the packet. */
void packet_close(void);

/* The next byte to send, or -1 if there is none. Called from the transmit interrupt. */
int16_t ring_take(void);

/* Bytes that still fit. */
uint16_t ring_free(void);

#ifdef __cplusplus
}
#endif
#endif
