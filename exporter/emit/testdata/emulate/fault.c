/* leakair.c with a fault: the last output of call FAULT_AT (counted from 0, the
 * self-test included) is too large by one. Proves that the test sees it. */
#define leakair_step sound_step
#include "leakair.c"
#undef leakair_step

void leakair_step(leakair_state *s, const int16_t x[LEAKAIR_N_FEATURES], int32_t y[LEAKAIR_N_OUTPUTS]);

void leakair_step(leakair_state *s, const int16_t x[LEAKAIR_N_FEATURES], int32_t y[LEAKAIR_N_OUTPUTS])
{
    static uint32_t calls = 0;

    sound_step(s, x, y);
    if (calls == FAULT_AT) {
        y[LEAKAIR_N_OUTPUTS - 1U]++;
    }
    calls++;
}
