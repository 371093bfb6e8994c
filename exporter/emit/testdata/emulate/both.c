/* Runs STEPS random steps on the network with kernels in assembler and on plain.c, each with a state
 * of its own, and prints how many gave the same outputs before the first that did not. */
#include <stdio.h>

#include "draw.h"
#include "leakair.h"

void plain_reset(leakair_state *s);
void plain_step(leakair_state *s, const int16_t x[LEAKAIR_N_FEATURES], int32_t y[LEAKAIR_N_OUTPUTS]);

int main(void)
{
    static leakair_state fast;
    static leakair_state plain;
    static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
    int32_t want[LEAKAIR_N_OUTPUTS];
    uint32_t step;
    uint16_t differs = 0;

    leakair_reset(&fast);
    plain_reset(&plain);
    for (step = 0; (step < (uint32_t)STEPS) && (differs == 0U); step++) {
        const uint8_t small = (uint8_t)((draw() >> 31) * 6U); /* else the whole range */
        uint16_t i;

        for (i = 0; i < LEAKAIR_N_FEATURES; i++) {
            x[i] = (int16_t)(((int32_t)(draw() >> 16) - INT32_C(32768)) / (1 << small));
        }
        leakair_step(&fast, x, y);
        plain_step(&plain, x, want);
        for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
            differs = (y[i] != want[i]) ? 1U : differs;
        }
    }
    printf("same %lu\n", (unsigned long)(step - differs));
    return 0;
}
