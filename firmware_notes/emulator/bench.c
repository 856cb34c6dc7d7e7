/* A sensor board that is not there: runs the compiled firmware of an ATmega328P in simavr, puts voltages on its analogue pins
   and passes on what it sends.

       bench ELF --out FILE --seconds S [options]     as fast as the machine can, bytes into a file
       bench ELF --pty [--seconds S] [options]        paced to real time; prints "pty PATH", takes commands on standard input

       --script FILE         commands, one a line (below)
       --truth FILE          every conversion as it was injected: records of u64 cycle, u16 pin, u16 millivolts
       --fast PPM            the board's clock is so much too fast, as a ceramic resonator's may be; voltages keep true time
       --reset-cause BITS    what the start finds in MCUSR (default 1, power-on)
       --supply MV           the board's own supply, its converter's reference (default 5000)
       --paint ADDRESS       first address above the firmware's own data: fill from there up, tell at the end what stayed untouched

   Commands: WHEN is true seconds since the start, or "now".

       WHEN pin N [amplitude MV] [offset MV] [hertz F] [phase DEGREES] [noise MV] [cut DEGREES]
                             millivolts at pin A<N>: offset + amplitude * sin(...), noise is the standard deviation; cut: the sine
                             part of each half cycle starts only at that angle. What is not named stays as it was.
       WHEN stall SECONDS    the serial port all but stops for that long: one byte every 10 ms
       WHEN reset BITS       the board restarts with these bits in MCUSR
       WHEN hang             the converter stands still until the board restarts
       WHEN quit

   At the end one line: seconds, bytes sent, overruns (bytes a real port would have lost because the firmware did not wait),
   packets that found no reader, untouched bytes, share of the time the processor dozed.

   The converter is modelled here, since simavr works a conversion out only when its result is read: by the data sheet a conversion takes
   the input that is selected as it starts, samples it one and a half converter clocks later, ends after 13 (25 the first time), and is
   followed at once by the next where it triggers itself.

   With --pty nobody listening means that bytes are lost, as on a real port; a reader that is slow for some seconds finds them
   waiting, and loses whole packets after that. */

#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "avr_adc.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"
#include "sim_time.h"

#define HERTZ 16000000u
#define SUPPLY_MV 5000
#define PINS 8
#define COMMANDS_LIMIT 4096
#define BACKLOG_BYTES 65536u
#define PACKET_BYTES 512u
#define SLICE_CYCLES (HERTZ / 500u) /* 2 ms */
#define STACK_PAINT 0xA5u
#define MCUSR_ADDRESS 0x54
#define ADCL_ADDRESS 0x78
#define ADCH_ADDRESS 0x79
#define ADCSRA_ADDRESS 0x7A
#define ADMUX_ADDRESS 0x7C
#define ADEN_BIT 0x80
#define ADSC_BIT 0x40
#define ADATE_BIT 0x20
#define ADIF_BIT 0x10
#define MUX_REFERENCE 0x0E
#define REFERENCE_MV 1100
#define UCSR0A_ADDRESS 0xC0
#define UBRR0L_ADDRESS 0xC4
#define UBRR0H_ADDRESS 0xC5
#define RAM_END 0x08FF

typedef struct {
    double amplitude_mv, offset_mv, hertz, phase_degrees, noise_mv, cut_degrees;
} wave_t;

typedef struct {
    double at_s;
    char text[160];
} command_t;

static struct {
    avr_t *avr;
    avr_uart_t *uart;
    wave_t waves[PINS];
    command_t commands[COMMANDS_LIMIT];
    int command_count, command_next;
    uint32_t honest_cycles_per_byte; /* kept while a stall lasts */
    avr_cycle_count_t stall_end;
    uint8_t reset_cause;
    bool reset_asked, quit;
    int paint_from;
    uint32_t supply_mv;
    double clock_hertz; /* HERTZ, or what a wrong resonator makes of it */

    avr_adc_t *converter;
    bool converting, hung;
    uint16_t conversion; /* counts of the conversion in progress */

    FILE *out, *truth;
    int master;
    bool listened;
    uint8_t packet[PACKET_BYTES];
    uint32_t packet_bytes;
    int delimiter; /* -1 until the first byte tells the form */
    uint8_t backlog[BACKLOG_BYTES];
    uint32_t backlog_start, backlog_bytes;

    avr_cycle_count_t shift_end; /* the model of a real transmitter: one byte on the wire, one waiting */
    bool waiting;
    uint64_t sent_bytes, overruns, unread_packets, doze_cycles;
} bench;

static void fail(const char *what, const char *which) {
    fprintf(stderr, "bench: %s: %s\n", what, which);
    exit(2);
}

static double now_s(void) { return (double)bench.avr->cycle / bench.clock_hertz; }

/* ---- voltages ---- */

static uint64_t noise_state = 0x9E3779B97F4A7C15u;

static double uniform(void) { /* xorshift, the same in every run */
    noise_state ^= noise_state << 13;
    noise_state ^= noise_state >> 7;
    noise_state ^= noise_state << 17;
    return ((double)(noise_state >> 11) + 0.5) / 9007199254740992.0;
}

static double gauss(void) { return sqrt(-2 * log(uniform())) * cos(2 * M_PI * uniform()); }

static uint32_t pin_millivolts(const wave_t *wave, double at_s) {
    const double turns = wave->hertz * at_s + wave->phase_degrees / 360;
    const double half_turn_degrees = 360 * (turns * 2 - floor(turns * 2)) / 2;
    double mv = wave->offset_mv;
    if (half_turn_degrees >= wave->cut_degrees) {
        mv += wave->amplitude_mv * sin(2 * M_PI * turns);
    }
    if (wave->noise_mv > 0) {
        mv += wave->noise_mv * gauss();
    }
    return (uint32_t)lrint(fmin(fmax(mv, 0), bench.supply_mv));
}

static uint32_t converter_clock(void) { /* processor cycles */
    const uint8_t bits = bench.avr->data[ADCSRA_ADDRESS] & 7;
    return 1u << (bits ? bits : 1);
}

static void conversion_begins(avr_cycle_count_t at, double clocks_to_sample) {
    const uint16_t pin = bench.avr->data[ADMUX_ADDRESS] & 0x0F;
    const double at_s = ((double)at + clocks_to_sample * converter_clock()) / bench.clock_hertz;
    const uint32_t mv = pin < PINS ? pin_millivolts(&bench.waves[pin], at_s) : pin == MUX_REFERENCE ? REFERENCE_MV : 0;
    const uint32_t count = mv * 1024 / bench.supply_mv;
    bench.conversion = (uint16_t)(count > 1023 ? 1023 : count);
    if (bench.truth && pin < PINS) {
        const uint64_t cycle = at;
        const uint16_t stored = (uint16_t)mv;
        fwrite(&cycle, sizeof cycle, 1, bench.truth);
        fwrite(&pin, sizeof pin, 1, bench.truth);
        fwrite(&stored, sizeof stored, 1, bench.truth);
    }
}

static avr_cycle_count_t conversion_ends(avr_t *avr, avr_cycle_count_t when, void *unused) {
    (void)unused;
    avr->data[ADCL_ADDRESS] = (uint8_t)bench.conversion;
    avr->data[ADCH_ADDRESS] = (uint8_t)(bench.conversion >> 8);
    avr_raise_interrupt(avr, &bench.converter->adc);
    if (bench.hung || !(avr->data[ADCSRA_ADDRESS] & ADATE_BIT)) {
        avr->data[ADCSRA_ADDRESS] &= (uint8_t)~ADSC_BIT;
        bench.converting = false;
        return 0;
    }
    conversion_begins(when, 1.5);
    return when + 13 * converter_clock();
}

static void on_converter_control(avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused) {
    (void)unused;
    const bool was_on = avr->data[address] & ADEN_BIT;
    const uint8_t finished = avr->data[address] & ADIF_BIT;
    if (!was_on || !(value & ADEN_BIT)) {
        avr_cycle_timer_cancel(avr, conversion_ends, NULL);
        bench.converting = bench.hung = false;
    }
    if (value & ADIF_BIT) {
        avr_clear_interrupt(avr, &bench.converter->adc);
    }
    avr->data[address] = (uint8_t)((value & ~ADIF_BIT) | (value & ADIF_BIT ? 0 : finished) | (bench.converting ? ADSC_BIT : 0));
    if ((value & ADEN_BIT) && (value & ADSC_BIT) && !bench.converting && !bench.hung) {
        const avr_cycle_count_t edge = (avr->cycle / converter_clock() + 1) * converter_clock();
        const uint32_t clocks = was_on ? 13 : 25;
        bench.converting = true;
        conversion_begins(edge, clocks - 11.5);
        avr_cycle_timer_register(avr, edge + clocks * converter_clock() - avr->cycle, conversion_ends, NULL);
    }
}

/* ---- bytes ---- */

static void keep_packet(void) {
    if (!bench.listened || bench.packet_bytes > BACKLOG_BYTES - bench.backlog_bytes) {
        bench.unread_packets++;
    } else {
        for (uint32_t i = 0; i < bench.packet_bytes; i++) {
            bench.backlog[(bench.backlog_start + bench.backlog_bytes++) % BACKLOG_BYTES] = bench.packet[i];
        }
    }
    bench.packet_bytes = 0;
}

static void watch_transmitter(void) {
    const uint8_t *data = bench.avr->data;
    const uint32_t divider = (data[UBRR0L_ADDRESS] | (uint32_t)data[UBRR0H_ADDRESS] << 8) + 1;
    const uint32_t byte_cycles = 10 * divider * (data[UCSR0A_ADDRESS] & 2 ? 8 : 16);
    const avr_cycle_count_t now = bench.avr->cycle;
    if (bench.waiting && now >= bench.shift_end) {
        bench.shift_end += byte_cycles;
        bench.waiting = false;
    }
    if (now >= bench.shift_end) {
        bench.shift_end = now + byte_cycles;
    } else if (!bench.waiting) {
        bench.waiting = true;
    } else {
        bench.overruns++;
    }
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *unused) {
    (void)irq, (void)unused;
    bench.sent_bytes++;
    watch_transmitter();
    if (bench.out) {
        fputc((int)value, bench.out);
        return;
    }
    if (bench.delimiter < 0) {
        bench.delimiter = value == 0 ? 0 : '\n';
    }
    bench.packet[bench.packet_bytes++] = (uint8_t)value;
    if ((int)value == bench.delimiter || bench.packet_bytes == PACKET_BYTES) {
        keep_packet();
    }
}

static void pass_on(void) {
    struct pollfd port = {.fd = bench.master, .events = POLLOUT};
    poll(&port, 1, 0);
    bench.listened = !(port.revents & POLLHUP); /* hung up: no program has the port open */
    if (!bench.listened) {
        bench.backlog_bytes = 0;
        tcflush(bench.master, TCIOFLUSH);
    }
    while (bench.backlog_bytes) {
        const uint32_t straight = BACKLOG_BYTES - bench.backlog_start;
        const uint32_t size = bench.backlog_bytes < straight ? bench.backlog_bytes : straight;
        const ssize_t gone = write(bench.master, bench.backlog + bench.backlog_start, size);
        if (gone <= 0) {
            return;
        }
        bench.backlog_start = (bench.backlog_start + (uint32_t)gone) % BACKLOG_BYTES;
        bench.backlog_bytes -= (uint32_t)gone;
    }
}

static void open_pty(void) {
    bench.master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (bench.master < 0 || grantpt(bench.master) || unlockpt(bench.master)) {
        fail("no pseudo-terminal", strerror(errno));
    }
    const char *path = ptsname(bench.master);
    const int slave = path ? open(path, O_RDWR | O_NOCTTY) : -1;
    struct termios raw;
    if (slave < 0 || tcgetattr(slave, &raw)) {
        fail("no pseudo-terminal", strerror(errno));
    }
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave); /* from here on a hang-up means that nobody listens */
    printf("pty %s\n", path);
    fflush(stdout);
}

/* ---- commands ---- */

static void add_command(const char *line) {
    char when[32];
    int used = 0;
    if (line[0] == '#' || sscanf(line, "%31s %n", when, &used) < 1) {
        return;
    }
    if (bench.command_count == COMMANDS_LIMIT || strlen(line + used) >= sizeof bench.commands[0].text) {
        fail("too many or too long commands", line);
    }
    const double at_s = strcmp(when, "now") ? atof(when) : now_s();
    int at = bench.command_count++;
    while (at > bench.command_next && bench.commands[at - 1].at_s > at_s) {
        bench.commands[at] = bench.commands[at - 1];
        at--;
    }
    bench.commands[at].at_s = at_s;
    strcpy(bench.commands[at].text, line + used);
}

static void set_wave(char *rest) {
    char *state = NULL;
    const char *word = strtok_r(rest, " \n", &state);
    const int pin = word ? atoi(word) : -1;
    if (pin < 0 || pin >= PINS) {
        fail("no such pin", word ? word : "none");
    }
    wave_t *wave = &bench.waves[pin];
    const struct {
        const char *name;
        double *value;
    } keys[] = {{"amplitude", &wave->amplitude_mv}, {"offset", &wave->offset_mv},  {"hertz", &wave->hertz},
                {"phase", &wave->phase_degrees},    {"noise", &wave->noise_mv},    {"cut", &wave->cut_degrees}};
    while ((word = strtok_r(NULL, " \n", &state))) {
        const char *value = strtok_r(NULL, " \n", &state);
        size_t key = 0;
        while (key < sizeof keys / sizeof *keys && strcmp(keys[key].name, word)) {
            key++;
        }
        if (key == sizeof keys / sizeof *keys || !value) {
            fail("no such key, or no value for it", word);
        }
        *keys[key].value = atof(value);
    }
}

static void obey(char *text) {
    if (!strncmp(text, "pin ", 4)) {
        set_wave(text + 4);
    } else if (!strncmp(text, "stall ", 6)) {
        /* simavr waits so many cycles after each byte before it calls the port ready again. */
        bench.honest_cycles_per_byte = bench.uart->cycles_per_byte;
        bench.stall_end = bench.avr->cycle + (avr_cycle_count_t)(atof(text + 6) * HERTZ);
        bench.uart->cycles_per_byte = HERTZ / 100;
    } else if (!strncmp(text, "reset ", 6)) {
        bench.reset_cause = (uint8_t)atoi(text + 6);
        bench.reset_asked = true;
    } else if (!strncmp(text, "hang", 4)) {
        bench.hung = true;
    } else if (!strncmp(text, "quit", 4)) {
        bench.quit = true;
    } else {
        fail("no such command", text);
    }
}

static void obey_due(void) {
    while (bench.command_next < bench.command_count && bench.commands[bench.command_next].at_s <= now_s()) {
        obey(bench.commands[bench.command_next++].text);
    }
    if (bench.stall_end && bench.avr->cycle >= bench.stall_end) {
        bench.uart->cycles_per_byte = bench.honest_cycles_per_byte;
        bench.stall_end = 0;
    }
}

static void read_script(const char *path) {
    FILE *script = fopen(path, "r");
    char line[256];
    if (!script) {
        fail("cannot read the script", path);
    }
    while (fgets(line, sizeof line, script)) {
        add_command(line);
    }
    fclose(script);
}

static void read_commands(void) { /* standard input; its end means that whoever started us is gone */
    static char text[4096];
    static size_t size;
    struct pollfd in = {.fd = 0, .events = POLLIN};
    while (!bench.quit && poll(&in, 1, 0) > 0) {
        const ssize_t got = read(0, text + size, sizeof text - 1 - size);
        if (got <= 0) {
            bench.quit = true;
            return;
        }
        size += (size_t)got;
        text[size] = 0;
        char *line = text;
        for (char *end; (end = strchr(line, '\n')); line = end + 1) {
            *end = 0;
            add_command(line);
        }
        size -= (size_t)(line - text);
        memmove(text, line, size);
    }
}

/* ---- the processor ---- */

static void doze(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    bench.doze_cycles += cycles; /* no waiting here: run() keeps the pace */
}

static void stop(int unused) {
    (void)unused;
    bench.quit = true;
}

static void start_processor(void) {
    avr_reset(bench.avr);
    bench.avr->run_cycle_limit = 100000;
    bench.avr->data[MCUSR_ADDRESS] = bench.reset_cause;
    uint32_t no_flags = 0; /* or simavr sleeps when the port is polled, and prints lines itself */
    avr_ioctl(bench.avr, AVR_IOCTL_UART_SET_FLAGS('0'), &no_flags);
    bench.reset_asked = false;
}

static void load(const char *path) {
    static elf_firmware_t firmware;
    if (elf_read_firmware(path, &firmware)) {
        fail("cannot read the firmware", path);
    }
    bench.avr = avr_make_mcu_by_name("atmega328p");
    if (!bench.avr || avr_init(bench.avr)) {
        fail("simavr does not know the processor", "atmega328p");
    }
    avr_load_firmware(bench.avr, &firmware);
    bench.avr->frequency = HERTZ;
    bench.avr->vcc = bench.avr->avcc = bench.avr->aref = SUPPLY_MV;
    bench.avr->sleep = doze;
    bench.avr->log = LOG_ERROR;
    for (avr_io_t *io = bench.avr->io_port; io; io = io->next) {
        if (!strcmp(io->kind, "uart")) {
            bench.uart = (avr_uart_t *)io;
        }
        if (!strcmp(io->kind, "adc")) {
            bench.converter = (avr_adc_t *)io;
        }
    }
    bench.avr->io[AVR_DATA_TO_IO(ADCSRA_ADDRESS)].w.c = on_converter_control;
    bench.avr->io[AVR_DATA_TO_IO(ADCL_ADDRESS)].r.c = NULL; /* the results lie there as they are */
    bench.avr->io[AVR_DATA_TO_IO(ADCH_ADDRESS)].r.c = NULL;
    avr_irq_register_notify(avr_io_getirq(bench.avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
    start_processor();
    for (int at = bench.paint_from; bench.paint_from && at <= RAM_END; at++) {
        bench.avr->data[at] = STACK_PAINT;
    }
}

static void wait_until(struct timespec *start, double at_s) {
    struct timespec until = *start;
    until.tv_sec += (time_t)at_s;
    until.tv_nsec += (long)((at_s - (double)(time_t)at_s) * 1e9);
    if (until.tv_nsec >= 1000000000L) {
        until.tv_nsec -= 1000000000L;
        until.tv_sec++;
    }
    clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &until, NULL);
}

static void run(double seconds) {
    struct timespec start;
    clock_gettime(CLOCK_MONOTONIC, &start);
    while (!bench.quit && now_s() < seconds) {
        const avr_cycle_count_t slice_end = bench.avr->cycle + SLICE_CYCLES;
        obey_due();
        if (bench.reset_asked) {
            start_processor();
        }
        while (bench.avr->cycle < slice_end) {
            const int state = avr_run(bench.avr);
            if (state == cpu_Done || state == cpu_Crashed) {
                fail("the firmware", state == cpu_Done ? "stopped" : "crashed");
            }
        }
        if (!bench.out) {
            pass_on();
            wait_until(&start, now_s());
            read_commands();
        }
    }
}

static void report(void) {
    int untouched = 0;
    while (bench.paint_from && bench.paint_from + untouched <= RAM_END
           && bench.avr->data[bench.paint_from + untouched] == STACK_PAINT) {
        untouched++;
    }
    printf("seconds %.6f bytes %llu overruns %llu unread %llu untouched %d dozed %.3f\n", now_s(),
           (unsigned long long)bench.sent_bytes, (unsigned long long)bench.overruns, (unsigned long long)bench.unread_packets,
           untouched, (double)bench.doze_cycles / (double)bench.avr->cycle);
}

int main(int argc, char **argv) {
    double seconds = INFINITY;
    const char *script = NULL;
    bool pty = false;
    bench.delimiter = -1;
    bench.reset_cause = 1;
    bench.clock_hertz = HERTZ;
    bench.supply_mv = SUPPLY_MV;
    for (int pin = 0; pin < PINS; pin++) {
        bench.waves[pin].offset_mv = SUPPLY_MV / 2;
    }
    for (int at = 2; at < argc; at++) {
        const char *value = at + 1 < argc ? argv[at + 1] : "";
        if (!strcmp(argv[at], "--pty")) {
            pty = true;
            continue;
        }
        if (!strcmp(argv[at], "--seconds")) seconds = atof(value);
        else if (!strcmp(argv[at], "--script")) script = value;
        else if (!strcmp(argv[at], "--out")) bench.out = fopen(value, "wb");
        else if (!strcmp(argv[at], "--truth")) bench.truth = fopen(value, "wb");
        else if (!strcmp(argv[at], "--fast")) bench.clock_hertz = HERTZ * (1 + atof(value) * 1e-6);
        else if (!strcmp(argv[at], "--supply")) bench.supply_mv = (uint32_t)atoi(value);
        else if (!strcmp(argv[at], "--reset-cause")) bench.reset_cause = (uint8_t)atoi(value);
        else if (!strcmp(argv[at], "--paint")) bench.paint_from = (int)strtol(value, NULL, 0);
        else fail("no such option", argv[at]);
        at++;
    }
    if (argc < 2 || pty == (bench.out != NULL) || (bench.out && isinf(seconds))) {
        fail("usage", "bench ELF (--pty | --out FILE --seconds S) [options as this file's head tells]");
    }
    signal(SIGTERM, stop);
    signal(SIGINT, stop);
    load(argv[1]);
    if (script) {
        read_script(script);
    }
    if (pty) {
        open_pty();
    }
    run(seconds);
    report();
    if (bench.out) fclose(bench.out);
    if (bench.truth) fclose(bench.truth);
    return 0;
}
