/* Runs STEPS steps of a network on inputs that are about normally distributed. */
#include "net.h"

static net_state state;
static int16_t x[NET_N_FEATURES];
static int32_t y[NET_N_OUTPUTS];
volatile int32_t sink;

int main(void)
{
    uint32_t seed = 12345;
    uint8_t step;
    uint16_t i;
    uint8_t part;

    net_reset(&state);
    for (step = 0; step < STEPS; step++) {
        for (i = 0; i < NET_N_FEATURES; i++) {
            /* Sum of 12 uniform numbers of +-0.5: deviation 1, 12 fraction bits.
             * Generator: Numerical Recipes, 2nd edition, section 7.1, ranqd1. */
            int32_t sum = 0;
            for (part = 0; part < 12; part++) {
                seed = (seed * 1664525UL) + 1013904223UL;
                sum += (int32_t)((seed >> 16) & 4095UL) - 2048;
            }
            x[i] = (int16_t)sum;
        }
        net_step(&state, x, y);
        sink = y[0];
    }
    return 0;
}
