/* Standard output of an emulated 8-bit core: its first UART. When the program
 * ends, the core sleeps with interrupts off, which ends the emulator. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdio.h>

static int put(char c, FILE *stream)
{
    (void)stream;
    while ((UCSR0A & (1U << UDRE0)) == 0U) {
    }
    UDR0 = (unsigned char)c;
    return 0;
}

static FILE uart = FDEV_SETUP_STREAM(put, NULL, _FDEV_SETUP_WRITE);

/* Fastest rate that the UART has. */
__attribute__((constructor)) static void start(void)
{
    UCSR0A = (unsigned char)(1U << U2X0);
    UBRR0 = 0;
    UCSR0B = (unsigned char)(1U << TXEN0);
    stdout = &uart;
}

__attribute__((destructor)) static void stop(void)
{
    cli();
    sleep_enable();
    sleep_cpu();
}
