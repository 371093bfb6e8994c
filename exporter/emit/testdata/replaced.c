/* Prints what leakair_check returns, the id, and the outputs of steps. */
#include "leakair.h"
#include <stdio.h>

int main(void)
{
    static leakair_state state;
    static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
    uint16_t step;
    uint16_t i;

    printf("check %u\n", leakair_check());
    printf("id %08lx\n", (unsigned long)leakair_id());
    leakair_reset(&state);
    for (step = 0; step < 8U; step++) {
        for (i = 0; i < LEAKAIR_N_FEATURES; i++) {
            x[i] = (int16_t)(2000 * (int)(i + step) - 4000);
        }
        leakair_step(&state, x, y);
        for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
            printf("output %ld\n", (long)y[i]);
        }
    }
    printf("finished\n");
    return 0;
}
