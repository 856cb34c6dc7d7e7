/* How a sample travels: timer 1 starts a conversion every 81 microseconds (with eight channels); the converter's interrupt
   stores the count, turns the multiplexer to the next pin, and hands over each finished scan through a queue; the main loop packs
   ten scans at a time into the transmit ring; the serial port's interrupt sends the ring, a byte whenever the port is ready for
   one.

   A scan is the conversions of all pins in turn, then of the internal reference twice. The first of those two is thrown away,
   because the reference needs time to charge the converter's input; the second tells the supply voltage. */

#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <string.h>
#include <util/atomic.h>

#include "packet.h"
#include "settings.h"

#define CHANNELS (sizeof channels / sizeof *channels)
#define SLOTS (CHANNELS + 2u)
#define SLOT_CYCLES (F_CPU / (SCANS_PER_SECOND * SLOTS))
#define SCAN_NANOSECONDS ((uint32_t)((uint64_t)SLOT_CYCLES * SLOTS * 1000000000ULL / F_CPU))
#define SLOT_NANOSECONDS (SLOT_CYCLES * 1000UL / (F_CPU / 1000000UL))

#define REFERENCE_READINGS_LIMIT 2000u
#define QUEUE_SCANS (2u * SCANS_PER_PACKET + 5u) /* two packets' worth and some air: 500 bytes of the 2048 there are */

/* Converter: supply as reference; clock / 64 = 250 kHz, so that the 13 clocks of a conversion (52 us) fit into a slot. The
   data sheet asks for 200 kHz at most where all ten bits shall be right; a quarter more costs little (common practice, no
   published source), and a slower clock would not fit. */
#define MUX_PIN(channel) (_BV(REFS0) | (channel))
#define MUX_REFERENCE (_BV(REFS0) | 0x0E)
#define CONVERTER_ON (_BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1))

#define UBRR_VALUE ((F_CPU + 4UL * BOARD_BAUD) / (8UL * BOARD_BAUD) - 1UL)
#define BAUD_REAL (F_CPU / (8UL * (UBRR_VALUE + 1UL)))
#if BAUD_REAL * 40UL > BOARD_BAUD * 41UL || BAUD_REAL * 40UL < BOARD_BAUD * 39UL
#error "This clock cannot make this baud rate within 2.5 %: choose another in settings.h"
#endif

static const channel_t channels[] = {CHANNEL_LIST};
static const identity_t identity = {SCAN_NANOSECONDS, SLOT_NANOSECONDS, CHANNELS, SLOTS, CHANNELS, channels, BOARD_NAME};

typedef struct {
    uint32_t index;
    int16_t counts[CHANNELS];
} scan_t;

_Static_assert(CHANNELS >= 1 && CHANNELS <= 8, "this chip has eight analogue inputs");
_Static_assert(SCANS_PER_PACKET >= 1 && 11 + SCANS_PER_PACKET * CHANNELS * 2 <= 254, "a packet may have at most 254 bytes");
_Static_assert(SLOT_CYCLES > 13 * 64 + 160, "no time for a conversion between two: lower SCANS_PER_SECOND");
_Static_assert(sizeof BOARD_NAME - 1u <= 16u, "BOARD_NAME may have at most 16 bytes");

/* Shared with the converter's interrupt. The two places are single bytes, so they are read and written in one piece. */
static scan_t queue[QUEUE_SCANS];
static volatile uint8_t queue_in;
static volatile uint8_t queue_out;
static volatile uint32_t uptime_ms;
static volatile uint32_t missed_scans; /* no room in the queue */
static volatile uint32_t reference_sum;
static volatile uint16_t reference_readings;

/* The main loop's own. */
static uint32_t unsent_scans; /* no room in the ring */
static uint32_t identity_due_ms;
static uint32_t health_due_ms = 100; /* the first one early, so that the reason of a restart is known at once */

static uint8_t reset_cause __attribute__((section(".noinit")));

/* Runs before main, before a watchdog that is still on can bite again. A boot loader may have cleared the register before us:
   then no bit is set and the cause is not known. */
__attribute__((naked, used, section(".init3"))) void save_reset_cause(void) {
    reset_cause = MCUSR & 0x0F;
    MCUSR = 0;
    wdt_disable();
}

ISR(TIMER1_COMPA_vect) {
    /* Written whole, not by "|=": that would write back, and so clear, a result flag that waits for its interrupt. */
    ADCSRA = CONVERTER_ON | _BV(ADSC);
}

static void scan_done(void) {
    static uint32_t index;
    static uint32_t nanoseconds;
    const uint8_t next = queue_in + 1u == QUEUE_SCANS ? 0 : queue_in + 1u;
    if (next == queue_out) {
        missed_scans++; /* the same place is filled again by the next scan */
    } else {
        queue[queue_in].index = index;
        queue_in = next;
    }
    index++;
    nanoseconds += SCAN_NANOSECONDS;
    while (nanoseconds >= 1000000UL) {
        nanoseconds -= 1000000UL;
        uptime_ms++;
    }
}

ISR(ADC_vect) {
    static uint8_t slot;
    const uint16_t count = ADC; /* read before the multiplexer turns */
    slot++;
    if (slot < CHANNELS) {
        ADMUX = MUX_PIN(slot);
        queue[queue_in].counts[slot - 1u] = (int16_t)count;
    } else if (slot == CHANNELS) {
        ADMUX = MUX_REFERENCE;
        queue[queue_in].counts[CHANNELS - 1u] = (int16_t)count;
        scan_done();
    } else if (slot == SLOTS) {
        ADMUX = MUX_PIN(0);
        slot = 0;
        if (reference_readings < REFERENCE_READINGS_LIMIT) {
            reference_sum += count;
            reference_readings++;
        }
    }
}

ISR(USART_UDRE_vect) {
    /* Comes only while the port is ready for a byte. */
    const int16_t byte = ring_take();
    if (byte < 0) {
        UCSR0B = _BV(TXEN0); /* nothing left: no more of this interrupt until there is */
    } else {
        UDR0 = (uint8_t)byte;
    }
}

static void send_now(void) { UCSR0B = _BV(TXEN0) | _BV(UDRIE0); }

static uint16_t supply_millivolts(void) {
    uint32_t sum = 0;
    uint16_t readings = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        sum = reference_sum;
        readings = reference_readings;
        reference_sum = 0;
        reference_readings = 0;
    }
    /* count = 1024 * reference / supply, turned round, over the mean of the last second. Fits 32 bits: 1200 mV * 1024 * 2000. */
    return sum ? (uint16_t)(1024UL * REFERENCE_MILLIVOLTS * readings / sum) : 0;
}

static bool send_health(uint32_t now_ms) {
    if (ring_free() < 20u) {
        return false; /* the readings of the supply are kept for the next try */
    }
    uint32_t missed = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { missed = missed_scans; }
    return packet_health(now_ms, supply_millivolts(), missed + unsent_scans, reset_cause);
}

/* Scans waiting, from the oldest on, whose numbers follow each other, up to one packet's worth. */
static uint8_t run_of_scans(uint8_t waiting) {
    uint8_t run = 0;
    uint8_t at = queue_out;
    const uint32_t first = queue[at].index;
    while (run < waiting && run < SCANS_PER_PACKET && queue[at].index == first + run) {
        run++;
        at = at + 1u == QUEUE_SCANS ? 0 : at + 1u;
    }
    return run;
}

static void send_samples(void) {
    const uint8_t in = queue_in;
    const uint8_t waiting = (uint8_t)(in >= queue_out ? in - queue_out : in - queue_out + (int)QUEUE_SCANS);
    if (waiting < SCANS_PER_PACKET) {
        return;
    }
    const uint8_t run = run_of_scans(waiting);
    const bool sending = packet_open(PACKET_SAMPLES, 4u + 1u + run * CHANNELS * 2u);
    if (!sending && waiting < 2u * SCANS_PER_PACKET) {
        return; /* the ring may have room by the time the next packet is full */
    }
    if (sending) {
        packet_u32(queue[queue_out].index);
        packet_u8(run);
    } else {
        unsent_scans += run;
    }
    uint8_t out = queue_out;
    for (uint8_t scan = 0; scan < run; scan++) {
        for (uint8_t channel = 0; sending && channel < CHANNELS; channel++) {
            packet_u16((uint16_t)queue[out].counts[channel]);
        }
        out = out + 1u == QUEUE_SCANS ? 0 : out + 1u;
        queue_out = out;
    }
    if (sending) {
        packet_close();
    }
}

void board_begin(void) {
    cli();
    TIMSK0 = 0; /* an Arduino core's millisecond tick would only make the sampling unsteady */

    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 bits, no parity, 1 stop bit */
    UBRR0H = (uint8_t)(UBRR_VALUE >> 8);
    UBRR0L = (uint8_t)UBRR_VALUE;
    packet_begin(BOARD_NUMBER);
    send_now(); /* the receiver stays off: the board only talks */

    DIDR0 = 0x3F; /* no digital input on A0 to A5 */
    ACSR = _BV(ACBG); /* the idle comparator keeps the internal reference running, so that it need not start each time */
    ADCSRB = 0;
    ADMUX = MUX_PIN(0);
    ADCSRA = (CONVERTER_ON & ~_BV(ADIE)) | _BV(ADSC);
    loop_until_bit_is_clear(ADCSRA, ADSC); /* the first conversion takes 25 clocks, too long for a slot: not counted */
    ADCSRA = CONVERTER_ON | _BV(ADIF);

    TCCR1A = 0;
    TCCR1B = 0;
    TCNT1 = 0;
    OCR1A = SLOT_CYCLES - 1u;
    TIFR1 = _BV(OCF1A);
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(WGM12) | _BV(CS10); /* back to zero at OCR1A, full clock */

    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
}

void board_work(void) {
    uint32_t now_ms = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now_ms = uptime_ms; }
    /* Compared by difference, so that the wrap after 49 days does no harm. A packet that finds no room is tried again. */
    if ((int32_t)(now_ms - identity_due_ms) >= 0 && packet_identity(&identity)) {
        identity_due_ms = now_ms + 1000;
    }
    if ((int32_t)(now_ms - health_due_ms) >= 0 && send_health(now_ms)) {
        health_due_ms = now_ms + 1000;
    }
    send_samples();
    send_now();
    sleep_mode();
}

#ifndef ARDUINO
int main(void) {
    board_begin();
    for (;;) {
        board_work();
    }
}
#endif
