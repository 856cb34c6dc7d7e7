/* Firmware that does what the sensor board must not: it writes to the serial port without asking whether it is ready. */
#include <avr/io.h>
#include <util/delay.h>

int main(void) {
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UBRR0L = 3;
    UCSR0B = _BV(TXEN0);
    for (;;) {
        UDR0 = 0x55;
        _delay_us(5);
    }
}
