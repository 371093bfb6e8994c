/* Test driver for emulated cores: runs the self-test, then STEPS steps of
 * pseudo-random inputs that the Go test makes as well. Every BLOCK steps it
 * prints the hash of all outputs so far; of block SHOW_BLOCK (-1: none) it also
 * prints the outputs themselves. */
#include <stdio.h>

#include "draw.h"
#include "leakair.h"

#define STYLE_UNIFORM 0U
#define STYLE_SMALL 1U
#define STYLE_ENDS 2U /* and style 3 holds the inputs of the step before */

static int16_t draw_input(uint16_t style)
{
    static const int16_t ends[4] = { INT16_MIN, INT16_MAX, 0, -1 };
    const uint32_t r = draw();

    if (style == STYLE_UNIFORM) {
        return (int16_t)((int32_t)(r >> 16) - INT32_C(32768));
    }
    if (style == STYLE_SMALL) {
        return (int16_t)((int16_t)(r >> 20) - 2048);
    }
    return ends[r >> 30];
}

/* FNV-1a, 32 bits (constants: Go package hash/fnv), over the bytes of v, low byte first. */
static uint32_t hash_word(uint32_t hash, uint32_t v)
{
    uint8_t i;

    for (i = 0; i < 4U; i++) {
        hash = (hash ^ (v & UINT32_C(255))) * UINT32_C(16777619);
        v >>= 8;
    }
    return hash;
}

int main(void)
{
    static leakair_state state;
    static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
    uint32_t hash = UINT32_C(2166136261);
    uint32_t step;
    uint16_t style = STYLE_UNIFORM;
    uint16_t i;

    printf("self-test %ld\n", (long)leakair_selftest());
    leakair_reset(&state);
    for (step = 0; step < (uint32_t)STEPS; step++) {
        const uint32_t r = draw();

        if ((r & UINT32_C(1023)) == 0U) {
            leakair_reset(&state);
        }
        if (((r >> 10) & UINT32_C(31)) == 0U) {
            style = (uint16_t)(r >> 30);
        }
        if (style <= STYLE_ENDS) {
            for (i = 0; i < LEAKAIR_N_FEATURES; i++) {
                x[i] = draw_input(style);
            }
        }
        leakair_step(&state, x, y);
        for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
            hash = hash_word(hash, (uint32_t)y[i]);
#if SHOW_BLOCK >= 0
            if (step / BLOCK == SHOW_BLOCK) {
                printf("output %ld\n", (long)y[i]);
            }
#endif
        }
        if (step % BLOCK == BLOCK - 1U) {
            printf("hash %08lx\n", (unsigned long)hash);
        }
    }
    printf("finished\n");
    return 0;
}
