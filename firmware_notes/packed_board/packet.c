#include "packet.h"

#include <string.h>

#ifdef __AVR__
#include <util/atomic.h>
#define INDIVISIBLE ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
#else
#define INDIVISIBLE /* the tests have no interrupts, the other board sends from its main loop */
#endif

#define RING_MASK (RING_BYTES - 1u)
#define CODE_FULL 0xFFu /* a COBS block that holds 254 bytes and stands for no zero */

static uint8_t ring[RING_BYTES];
static volatile uint16_t ring_sent; /* the reader's place */
static volatile uint16_t ring_end;  /* end of what the reader may have: 16 bits, so only touched indivisibly */

static uint16_t write_place; /* the writer's place, past ring_end while a packet is open */
static uint16_t code_place;  /* where the length byte of the COBS block in progress goes */
static uint8_t code;         /* that byte so far */
static uint16_t crc;
static uint16_t sequence;
static uint8_t number;

static void place(uint8_t byte) {
    ring[write_place] = byte;
    write_place = (write_place + 1u) & RING_MASK;
}

static void block_begin(void) {
    code_place = write_place;
    code = 1;
    place(0); /* filled in when the block ends */
}

static void block_end(void) { ring[code_place] = code; }

static void stuff(uint8_t byte) {
    if (code == CODE_FULL) {
        block_end();
        block_begin();
    }
    if (byte) {
        place(byte);
        code++;
    } else {
        block_end();
        block_begin();
    }
}

/* CRC-16/IBM-3740, a byte at a time without a table: eight steps of the polynomial 0x1021 folded into shifts. */
static void crc_add(uint8_t byte) {
    crc = (uint16_t)(crc >> 8 | crc << 8) ^ byte;
    crc ^= (crc & 0xFFu) >> 4;
    crc ^= (uint16_t)(crc << 12);
    crc ^= (uint16_t)((crc & 0xFFu) << 5);
}

void packet_u8(uint8_t value) {
    crc_add(value);
    stuff(value);
}

void packet_u16(uint16_t value) {
    packet_u8((uint8_t)value);
    packet_u8((uint8_t)(value >> 8));
}

void packet_u32(uint32_t value) {
    packet_u16((uint16_t)value);
    packet_u16((uint16_t)(value >> 16));
}

void packet_f32(float value) {
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    packet_u32(bits);
}

void packet_begin(uint8_t board_number) {
    INDIVISIBLE {
        ring_sent = 0;
        ring_end = 0;
    }
    sequence = 0;
    number = board_number;
    write_place = 0;
    place(0);
    INDIVISIBLE { ring_end = write_place; }
}

bool packet_open(uint8_t type, uint8_t body_bytes) {
    /* Four bytes of head and two of CRC; stuffing adds one byte to anything up to 254 long; one delimiter. */
    if (ring_free() < body_bytes + 4u + 2u + 1u + 1u) {
        return false;
    }
    crc = 0xFFFF;
    block_begin();
    packet_u8(type);
    packet_u8(number);
    packet_u16(sequence++);
    return true;
}

void packet_close(void) {
    const uint16_t check = crc;
    stuff((uint8_t)check);
    stuff((uint8_t)(check >> 8));
    block_end();
    place(0);
    INDIVISIBLE { ring_end = write_place; }
}

bool packet_identity(const identity_t *board) {
    const uint8_t name_bytes = (uint8_t)strlen(board->name);
    if (!packet_open(PACKET_IDENTITY, (uint8_t)(1u + 4u + 1u + board->count * 11u + 1u + name_bytes))) {
        return false;
    }
    packet_u8(1); /* version of the form */
    packet_u32(board->scan_ns);
    packet_u8(board->count);
    for (uint8_t at = 0; at < board->count; at++) {
        const uint32_t slot = (uint32_t)(at / board->round_channels * board->round_slots + at % board->round_channels);
        packet_u8(board->channels[at].quantity);
        packet_u16((uint16_t)((slot * board->slot_ns + 500u) / 1000u));
        packet_f32(board->channels[at].scale);
        packet_f32(board->channels[at].zero);
    }
    packet_u8(name_bytes);
    for (uint8_t at = 0; at < name_bytes; at++) {
        packet_u8((uint8_t)board->name[at]);
    }
    packet_close();
    return true;
}

bool packet_health(uint32_t uptime_ms, uint16_t supply_mv, uint32_t dropped_scans, uint8_t reset_cause) {
    if (!packet_open(PACKET_HEALTH, 4u + 2u + 4u + 1u)) {
        return false;
    }
    packet_u32(uptime_ms);
    packet_u16(supply_mv);
    packet_u32(dropped_scans);
    packet_u8(reset_cause);
    packet_close();
    return true;
}

int16_t ring_take(void) {
    const uint16_t from = ring_sent;
    if (from == ring_end) {
        return -1;
    }
    ring_sent = (from + 1u) & RING_MASK;
    return ring[from];
}

uint16_t ring_free(void) {
    uint16_t used = 0;
    INDIVISIBLE { used = (ring_end - ring_sent) & RING_MASK; }
    return RING_MASK - used;
}
