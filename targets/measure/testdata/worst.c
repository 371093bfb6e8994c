/* Takes longer with every feature at its upper end since the reset: the longest step is
 * the last of a sequence that has nothing else. */
#include "worst.h"

void worst_reset(worst_state *s)
{
    s->hits = 0;
}

void worst_step(worst_state *s, const int16_t x[WORST_N_FEATURES], int32_t y[WORST_N_OUTPUTS])
{
    volatile int32_t sum = 0;
    uint8_t i;

    for (i = 0; i < WORST_N_FEATURES; i++) {
        if (x[i] == INT16_MAX) {
            s->hits++;
        }
    }
    for (i = 0; i < s->hits; i++) {
        sum += i;
    }
    y[0] = sum;
}
