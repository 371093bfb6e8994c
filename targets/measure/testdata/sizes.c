/* 300 bytes of constants, 40 of data with initial values, 50 without, some 100 of
 * stack; negative inputs take longer. With FAULT the step does not end. */
#include "sizes.h"

#if defined(__AVR__)
#include <avr/pgmspace.h>
#else
#define PROGMEM
#define pgm_read_byte(p) (*(p))
#endif

static const uint8_t constants[300] PROGMEM = { 1, 2, 3 };
static volatile uint8_t set[40] = { 4 };
static volatile uint8_t cleared[50];

void sizes_reset(sizes_state *s)
{
    s->used[0] = 0;
}

void sizes_step(sizes_state *s, const int16_t x[SIZES_N_FEATURES], int32_t y[SIZES_N_OUTPUTS])
{
    volatile uint8_t stack[100];
    uint8_t i;

#ifdef FAULT
    __builtin_trap();
#endif
    for (i = 0; i < 100U; i++) {
        stack[i] = 1;
    }
    if (x[0] < 0) {
        for (i = 0; i < 50U; i++) {
            cleared[i] = set[1];
        }
    }
    y[0] = (int32_t)pgm_read_byte(&constants[s->used[0]]) + stack[0] + set[0];
}
