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

#ifndef RING_BYTES
#define RING_BYTES 512u /* a power of two; one place always stays free */
#endif

enum packet_type { PACKET_IDENTITY = 1, PACKET_SAMPLES = 2, PACKET_HEALTH = 3 };

typedef struct {
    uint8_t quantity; /* 'V' or 'A' */
    float scale;      /* volts or amps for one count */
    float zero;       /* count that means zero */
} channel_t;

typedef struct {
    uint32_t scan_ns;
    uint32_t slot_ns; /* from one conversion to the next */
    uint8_t round_channels, round_slots; /* after so many channels, the next one waits for the end of so many conversions */
    uint8_t count;
    const channel_t *channels;
    const char *name; /* at most 16 bytes */
} identity_t;

/* Empty the ring, start the sequence at 0 and put in the one zero byte that a stream starts with. */
void packet_begin(uint8_t board_number);

/* Whole packets; false, and nothing is sent, where the ring lacks room. */
bool packet_identity(const identity_t *board);
bool packet_health(uint32_t uptime_ms, uint16_t supply_mv, uint32_t dropped_scans, uint8_t reset_cause);

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
