/* The packed form on an RP2040, without a vendor kit: registers by their names in the chip's data sheet.

   How a sample travels: the converter goes round its pins by itself, one conversion every SLOT_CLOCKS of its 48 MHz clock; DMA
   channel 0 puts each count into a ring of memory; after each round of four, DMA channel 1 turns the analogue switch and starts
   channel 0 again. No instruction takes part, so nothing the processor does can make the sampling unsteady. The main loop follows
   the DMA's place in the ring, packs ten scans at a time and keeps the serial port's FIFO filled.

   The ring holds more than 50 ms. The watchdog bites after 40 ms without a new scan taken from it, or once the converter's own
   FIFO has run over (counts could then belong to other pins), so no scan is ever counted wrongly. */

#include <stdbool.h>
#include <stdint.h>

#include "settings.h"

#include "../packed_board/packet.h"

#define REGISTER(address) (*(volatile uint32_t *)(address))
#define SET_BITS(address) REGISTER((address) + 0x2000u)
#define CLEAR_BITS(address) REGISTER((address) + 0x3000u)

#define CLOCKS_BASE     0x40008000u
#define RESETS_BASE     0x4000C000u
#define PSM_WDSEL       0x40010008u
#define IO_CTRL(gpio)   (0x40014004u + 8u * (gpio))
#define PAD(gpio)       (0x4001C004u + 4u * (gpio))
#define XOSC_BASE       0x40024000u
#define PLL_USB_BASE    0x4002C000u
#define UART0_BASE      0x40034000u
#define ADC_BASE        0x4004C000u
#define WATCHDOG_BASE   0x40058000u
#define CHIP_RESET      0x40064008u
#define DMA(channel)    (0x50000000u + 0x40u * (channel))
#define DMA_INTE0       0x50000404u
#define DMA_INTS0       0x5000040Cu
#define NVIC_ISER       0xE000E100u

#define CLOCK_HERTZ     48000000u /* processor, serial port and converter alike, from the USB PLL */
#define FIRST_PIN       26u
#define ROUND_COUNTS    4u /* with three pins the chip's thermometer is the fourth, and is left out of the packets */
#define ROUNDS          (SWITCHED ? 2u : 1u)
#define CHANNELS        (PINS * ROUNDS)
#define SLOT_CLOCKS     (SCAN_CLOCKS / (ROUND_COUNTS * ROUNDS))
#define SLOT_NS         (uint32_t)(SLOT_CLOCKS * 1000000000ULL / CLOCK_HERTZ)
#define SCAN_NS         (uint32_t)(SCAN_CLOCKS * 1000000000ULL / CLOCK_HERTZ)
#define ROUND_ROBIN     (PINS == 4 ? 0x0Fu : 0x17u)
#define SCANS_PER_PACKET (PINS * ROUNDS > 6u ? 12u : 20u)

#define RING_BITS       11u /* bytes: 256 rounds */
#define RING_ROUNDS     ((1u << RING_BITS) / (ROUND_COUNTS * 2u))
#define RING_SCANS      (RING_ROUNDS / ROUNDS)
#define WATCHDOG_TICKS  (40000u * 2u) /* counts two a microsecond (erratum RP2040-E1) */

_Static_assert(PINS == 3 || PINS == 4, "three or four pins");
_Static_assert(CHANNELS % 2 == 0, "three pins make whole districts only with the switch");
_Static_assert(11 + SCANS_PER_PACKET * CHANNELS * 2 <= 254, "a packet may have at most 254 bytes");
_Static_assert(sizeof BOARD_NAME - 1u <= 16u, "BOARD_NAME may have at most 16 bytes");
_Static_assert(RING_SCANS * (SCAN_CLOCKS / 48u) > 50000u, "the watchdog must bite before the ring is lapped");

static const channel_t channels[8] = {DISTRICT, DISTRICT, DISTRICT, DISTRICT};
static const identity_t identity = {SCAN_NS, SLOT_NS, PINS, ROUND_COUNTS, CHANNELS, channels, BOARD_NAME};
static uint16_t counts[RING_ROUNDS][ROUND_COUNTS] __attribute__((aligned(1u << RING_BITS)));

/* GPIO_CTRL: the output, always enabled, forced high or low. DMA channel 1 reads the two in turn. */
#define SWITCH_TO(side) (3u << 12 | (2u + (side)) << 8 | 5u)
static const uint32_t switch_words[2] __attribute__((aligned(8))) = {SWITCH_TO(SWITCHED), SWITCH_TO(0u)};

void on_dma(void) { REGISTER(DMA_INTS0) = 1u; } /* only wakes the main loop, after every round */

static void wait_for(uint32_t address, uint32_t bits) {
    while ((REGISTER(address) & bits) != bits) {
    }
}

/* Everything at 48 MHz: 12 MHz crystal * 100 / 5 / 5. */
static void clocks_begin(void) {
    REGISTER(XOSC_BASE + 0x0Cu) = 47u; /* 1 ms to settle */
    REGISTER(XOSC_BASE) = 0xFABu << 12 | 0xAA0u;
    wait_for(XOSC_BASE + 0x04u, 1u << 31);
    REGISTER(CLOCKS_BASE + 0x3Cu) = 0; /* system clock from the reference while the PLL is set up */
    wait_for(CLOCKS_BASE + 0x44u, 1u);
    REGISTER(CLOCKS_BASE + 0x30u) = 2u; /* reference from the crystal */
    wait_for(CLOCKS_BASE + 0x38u, 1u << 2);
    REGISTER(PLL_USB_BASE) = 1u;
    REGISTER(PLL_USB_BASE + 0x08u) = 100u;
    CLEAR_BITS(PLL_USB_BASE + 0x04u) = 1u << 5 | 1u;
    wait_for(PLL_USB_BASE, 1u << 31);
    REGISTER(PLL_USB_BASE + 0x0Cu) = 5u << 16 | 5u << 12;
    CLEAR_BITS(PLL_USB_BASE + 0x04u) = 1u << 3;
    REGISTER(CLOCKS_BASE + 0x3Cu) = 1u << 5;
    REGISTER(CLOCKS_BASE + 0x3Cu) = 1u << 5 | 1u;
    wait_for(CLOCKS_BASE + 0x44u, 1u << 1);
    REGISTER(CLOCKS_BASE + 0x48u) = 1u << 11; /* serial port: the system clock */
    REGISTER(CLOCKS_BASE + 0x60u) = 1u << 11; /* converter: the USB PLL */
    REGISTER(WATCHDOG_BASE + 0x2Cu) = 1u << 9 | 12u; /* microseconds out of 12 MHz */
}

static void serial_begin(void) {
    const uint32_t divider = (CLOCK_HERTZ * 4u + BOARD_BAUD / 2u) / BOARD_BAUD; /* 1/64 */
    REGISTER(IO_CTRL(0u)) = 2u;
    REGISTER(UART0_BASE + 0x24u) = divider >> 6;
    REGISTER(UART0_BASE + 0x28u) = divider & 63u;
    REGISTER(UART0_BASE + 0x2Cu) = 3u << 5 | 1u << 4; /* 8 bits, FIFO */
    REGISTER(UART0_BASE + 0x30u) = 1u << 8 | 1u;      /* the receiver stays off: the board only talks */
}

static void sampling_begin(void) {
    for (uint32_t pin = 0; pin < PINS; pin++) {
        REGISTER(PAD(FIRST_PIN + pin)) = 1u << 7; /* no output, no digital input, no pull */
    }
    REGISTER(IO_CTRL(SWITCH_GPIO)) = SWITCH_TO(0u);

    REGISTER(DMA(1)) = (uint32_t)switch_words;
    REGISTER(DMA(1) + 0x04u) = IO_CTRL(SWITCH_GPIO);
    REGISTER(DMA(1) + 0x08u) = 1u;
    /* quiet, unpaced, then channel 0, reads round 8 bytes, words */
    REGISTER(DMA(1) + 0x10u) = 1u << 21 | 63u << 15 | 0u << 11 | 3u << 6 | 1u << 4 | 2u << 2 | 1u;
    REGISTER(DMA(0)) = ADC_BASE + 0x0Cu;
    REGISTER(DMA(0) + 0x04u) = (uint32_t)counts;
    REGISTER(DMA(0) + 0x08u) = ROUND_COUNTS;
    REGISTER(DMA_INTE0) = 1u;
    REGISTER(NVIC_ISER) = 1u << 11;
    /* paced by the converter, then channel 1, writes round the ring, half words */
    REGISTER(DMA(0) + 0x0Cu) = 36u << 15 | 1u << 11 | 1u << 10 | RING_BITS << 6 | 1u << 5 | 1u << 2 | 1u << 1 | 1u;

    REGISTER(ADC_BASE) = 1u << 1 | 1u;
    wait_for(ADC_BASE, 1u << 8);
    REGISTER(ADC_BASE + 0x10u) = (SLOT_CLOCKS - 1u) << 8;
    REGISTER(ADC_BASE + 0x08u) = 1u << 24 | 1u << 3 | 1u;
    REGISTER(ADC_BASE) = ROUND_ROBIN << 16 | 1u << 3 | 1u << 1 | 1u;
}

static void watchdog_feed(void) { REGISTER(WATCHDOG_BASE + 0x04u) = WATCHDOG_TICKS; }

static void watchdog_begin(void) {
    REGISTER(PSM_WDSEL) = 0x1FFFCu; /* a bite restarts all but the oscillators */
    watchdog_feed();
    SET_BITS(WATCHDOG_BASE) = 1u << 30;
}

/* Bits of the health packet. The chip does not tell a brown-out from a power-on: both are told as power-on. */
static uint8_t reset_cause(void) {
    if (REGISTER(WATCHDOG_BASE + 0x08u)) {
        return 8u;
    }
    const uint32_t cause = REGISTER(CHIP_RESET);
    return (uint8_t)((cause >> 8 & 1u) | (cause >> 16 & 1u) << 1);
}

static void send_serial(void) {
    while (!(REGISTER(UART0_BASE + 0x18u) & 1u << 5)) {
        const int16_t byte = ring_take();
        if (byte < 0) {
            return;
        }
        REGISTER(UART0_BASE) = (uint32_t)byte;
    }
}

/* Packs the next scans, which the ring holds from round "from" on; false where the transmit ring has no room. */
static bool send_scans(uint32_t first_scan, uint32_t from) {
    if (!packet_open(PACKET_SAMPLES, (uint8_t)(4u + 1u + SCANS_PER_PACKET * CHANNELS * 2u))) {
        return false;
    }
    packet_u32(first_scan);
    packet_u8(SCANS_PER_PACKET);
    for (uint32_t round = 0; round < SCANS_PER_PACKET * ROUNDS; round++) {
        const uint16_t *row = counts[(from + round) % RING_ROUNDS];
        for (uint32_t pin = 0; pin < PINS; pin++) {
            packet_u16(row[pin]);
        }
    }
    packet_close();
    return true;
}

int main(void) {
    const uint8_t cause = reset_cause();
    /* DMA, both banks' pins, the USB PLL, UART0 and the converter come out of reset */
    const uint32_t needed = 1u << 0 | 1u << 2 | 1u << 5 | 1u << 8 | 1u << 13 | 1u << 22;
    CLEAR_BITS(RESETS_BASE) = needed;
    wait_for(RESETS_BASE + 0x08u, needed & ~(1u << 0 | 1u << 22)); /* these two wait for their clocks */
    clocks_begin();
    wait_for(RESETS_BASE + 0x08u, needed);
    serial_begin();
    packet_begin(BOARD_NUMBER);
    sampling_begin();
    watchdog_begin();

    uint32_t scan = 0, round = 0, dropped = 0, uptime_ms = 0, nanoseconds = 0;
    uint32_t identity_due_ms = 0, health_due_ms = 100; /* early, so that the reason of a restart is known at once */
    for (;;) {
        const uint32_t place = (REGISTER(DMA(0) + 0x04u) - (uint32_t)counts) / sizeof counts[0];
        if ((place - round) % RING_ROUNDS / ROUNDS >= SCANS_PER_PACKET) {
            dropped += send_scans(scan, round) ? 0u : SCANS_PER_PACKET;
            scan += SCANS_PER_PACKET;
            round = (round + SCANS_PER_PACKET * ROUNDS) % RING_ROUNDS;
            nanoseconds += SCANS_PER_PACKET * SCAN_NS;
            uptime_ms += nanoseconds / 1000000u;
            nanoseconds %= 1000000u;
            if (!(REGISTER(ADC_BASE + 0x08u) & 1u << 11)) {
                watchdog_feed();
            }
        }
        /* Compared by difference, so that the wrap after 49 days does no harm. A packet that finds no room is tried again. */
        if ((int32_t)(uptime_ms - identity_due_ms) >= 0 && packet_identity(&identity)) {
            identity_due_ms = uptime_ms + 1000u;
        }
        if ((int32_t)(uptime_ms - health_due_ms) >= 0 && packet_health(uptime_ms, 0, dropped, cause)) {
            health_due_ms = uptime_ms + 1000u;
        }
        send_serial();
        __asm volatile("wfi");
    }
}
