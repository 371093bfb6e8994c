/* The board of the example in docs/firmware.md. Time passes where the main loop sleeps, a tick at
 * a time, and where report() of window LATE_AFTER takes long, until tick LATE_TICK of period
 * LATE_PERIOD. codes.h is written by the Go test: codes of PERIODS windows. Prints the outputs. */
#include "leakair.h"
#include "codes.h"
#include <stdio.h>
#include <stdlib.h>

#define TICKS 640U

uint16_t converter(uint8_t input);
int16_t thermometer(void);
void report(const int32_t y[LEAKAIR_N_OUTPUTS]);
void start_converter(void);
void sleep_until_interrupt(void);
void converter_interrupt(void);

static uint32_t ticks = 0; /* since the start */
static int started = 0;

static void tick(void)
{
    if (started) {
        converter_interrupt();
        ticks++;
    }
}

uint16_t converter(uint8_t input)
{
    return codes[ticks / TICKS][ticks % TICKS][input];
}

int16_t thermometer(void)
{
    return (int16_t)(THERMOMETER + (ticks / TICKS));
}

void report(const int32_t y[LEAKAIR_N_OUTPUTS])
{
    uint16_t i;

    printf("period %lu:", (unsigned long)(ticks / TICKS));
    for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
        printf(" %ld", (long)y[i]);
    }
    printf("\n");
    if (ticks / TICKS == LATE_AFTER) {
        while (ticks < (LATE_PERIOD * TICKS) + LATE_TICK) {
            tick();
        }
    }
}

void start_converter(void)
{
    started = 1;
}

void sleep_until_interrupt(void)
{
    if (ticks == PERIODS * TICKS) {
        exit(0);
    }
    tick();
}
