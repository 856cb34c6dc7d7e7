/* How a sample travels: the converter goes on by itself, 13 of its clocks for each conversion; timer 1 counts the same 13 clocks and
   interrupts in the middle of each conversion, stores the count of the one before and turns the multiplexer for the one after (the
   running one has taken its input already, so the moment does not matter by some 40 microseconds either way); each finished scan
   is handed over through a queue; the main loop packs ten scans at a time into the transmit ring; the serial port's interrupt sends
   the ring, a byte whenever the port is ready for one.

   Once a second two neighbouring channels lend their conversions to the internal reference, two others each time. The first of the
   two is thrown away, because the reference needs time to charge the converter's input; the second tells the supply voltage. What
   the lenders miss is sent as the mean of the samples before and after. */

#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <string.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "packet.h"
#include "settings.h"

#define CHANNELS (sizeof channels / sizeof *channels)
#define SLOT_CYCLES (13u * 128u)
#define SCAN_NANOSECONDS ((uint32_t)((uint64_t)SLOT_CYCLES * CHANNELS * 1000000000ULL / F_CPU))
#define SCANS_PER_SECOND (F_CPU / (SLOT_CYCLES * CHANNELS))
#define SLOT_NANOSECONDS (SLOT_CYCLES * 1000UL / (F_CPU / 1000000UL))

#define REFERENCE_READINGS_LIMIT 64u
#define QUEUE_SCANS (2u * SCANS_PER_PACKET + 6u) /* two packets' worth and some air: 520 bytes of the 2048 there are */

/* Converter: supply as reference; clock / 128 = 125 kHz, within the 50 to 200 kHz that the data sheet asks for. */
#define MUX_PIN(channel) (_BV(REFS0) | (channel))
#define MUX_REFERENCE (_BV(REFS0) | 0x0E)
#define CONVERTER_ON (_BV(ADEN) | _BV(ADATE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0))

#define UBRR_VALUE ((F_CPU + 4UL * BOARD_BAUD) / (8UL * BOARD_BAUD) - 1UL)
#define BAUD_REAL (F_CPU / (8UL * (UBRR_VALUE + 1UL)))
#if BAUD_REAL * 40UL > BOARD_BAUD * 41UL || BAUD_REAL * 40UL < BOARD_BAUD * 39UL
#error "This clock cannot make this baud rate within 2.5 %: choose another in settings.h"
#endif

static const channel_t channels[] = {CHANNEL_LIST};
static const identity_t identity = {SCAN_NANOSECONDS, SLOT_NANOSECONDS, CHANNELS, CHANNELS, CHANNELS, channels, BOARD_NAME};

typedef struct {
    uint32_t index;
    int16_t counts[CHANNELS];
} scan_t;

_Static_assert(CHANNELS >= 2 && CHANNELS <= 8, "this chip has eight analogue inputs");
_Static_assert(SCANS_PER_PACKET >= 1 && 11 + SCANS_PER_PACKET * CHANNELS * 2 <= 254, "a packet may have at most 254 bytes");
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

static void store(uint8_t channel, uint16_t count, bool lent) {
    static uint16_t latest[CHANNELS];
    static uint8_t lent_place[CHANNELS]; /* 1 + the place in the queue where a sample waits for the mean of its neighbours */
    if (lent) {
        lent_place[channel] = queue_in + 1u;
        return;
    }
    if (lent_place[channel]) {
        queue[lent_place[channel] - 1u].counts[channel] = (int16_t)((latest[channel] + count + 1u) / 2u);
        lent_place[channel] = 0;
    }
    latest[channel] = count;
    queue[queue_in].counts[channel] = (int16_t)count;
}

/* The multiplexer's next place: the channel's pin, or the reference while that channel lends its conversion. */
static uint8_t mux_for(uint8_t channel) {
    static uint16_t scans = SCANS_PER_SECOND - 20u; /* so that the first health packet knows the supply */
    static uint8_t lender;
    if (channel == 0) {
        scans++;
    }
    if (scans < SCANS_PER_SECOND) {
        return MUX_PIN(channel);
    }
    if (channel == lender) {
        return MUX_REFERENCE;
    }
    if (channel != lender + 1u) {
        return MUX_PIN(channel);
    }
    scans = 0;
    lender = lender + 3u < CHANNELS ? lender + 2u : 0;
    return MUX_REFERENCE;
}

ISR(TIMER1_COMPA_vect) {
    static uint8_t slot; /* whose conversion ended last */
    static uint8_t ended = MUX_PIN(0), running = MUX_PIN(1);
    static bool settled; /* the conversion before was one of the reference, too */
    if (bit_is_clear(ADCSRA, ADIF)) {
        return; /* the converter stands still: the watchdog will see that no scans come */
    }
    ADCSRA = CONVERTER_ON | _BV(ADSC) | _BV(ADIF);
    const uint16_t count = ADC;
    const uint8_t ahead = slot + 2u < CHANNELS ? slot + 2u : slot + 2u - CHANNELS;
    const uint8_t was = ended;
    ended = running;
    running = mux_for(ahead);
    ADMUX = running;
    store(slot, count, was == MUX_REFERENCE);
    if (was == MUX_REFERENCE && settled && reference_readings < REFERENCE_READINGS_LIMIT) {
        reference_sum += count;
        reference_readings++;
    }
    settled = was == MUX_REFERENCE;
    if (++slot == CHANNELS) {
        slot = 0;
        scan_done();
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
    /* count = 1024 * reference / supply, turned round. Until the next reading the last one is told. */
    static uint16_t millivolts;
    if (sum) {
        millivolts = (uint16_t)(1024UL * REFERENCE_MILLIVOLTS * readings / sum);
    }
    return millivolts;
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
    const uint8_t handed_over = (uint8_t)(in >= queue_out ? in - queue_out : in - queue_out + (int)QUEUE_SCANS);
    if (handed_over <= SCANS_PER_PACKET) {
        return;
    }
    const uint8_t waiting = handed_over - 1u; /* the newest may still miss what its channels lent */
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
    ADCSRA = CONVERTER_ON | _BV(ADSC);
    loop_until_bit_is_set(ADCSRA, ADIF); /* the first conversion, of 25 clocks, is not counted; that of pin 0 runs */
    TCCR1A = 0;
    TCCR1B = 0;
    OCR1A = SLOT_CYCLES - 1u;
    _delay_us(SLOT_CYCLES * 500000.0 / F_CPU);
    ADMUX = MUX_PIN(1);
    TCNT1 = 0;
    TIFR1 = _BV(OCF1A);
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(WGM12) | _BV(CS10); /* back to zero at OCR1A, full clock */

    wdt_enable(WDTO_250MS);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
}

void board_work(void) {
    static uint32_t seen_ms;
    uint32_t now_ms = 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now_ms = uptime_ms; }
    if (now_ms != seen_ms) {
        seen_ms = now_ms;
        wdt_reset(); /* scans come: a converter, timer or loop that stands still restarts the board */
    }
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
