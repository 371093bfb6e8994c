/* Runs NETWORK_STEPS steps of a network on inputs that are about normally
 * distributed; every fourth step of an integer network takes extreme inputs.
 * With NETWORK_TABLE the inputs are those of inputs.h, and the state is zero again
 * every NETWORK_RESTART steps.
 * Reports the most stack that a step took, from the bytes it changed. */
#include "network.h"
#include "board.h"
#ifdef NETWORK_TABLE
#include "inputs.h"
#endif

static network_state state;
static network_input x[NETWORK_FEATURES] __attribute__((aligned(4)));
static network_output y[NETWORK_OUTPUTS];
volatile network_output sink;

#ifdef NETWORK_TABLE
static void take_inputs(uint16_t step)
{
    uint16_t i;

    if ((step % NETWORK_RESTART) == 0U) {
        network_reset(&state);
    }
    for (i = 0; i < NETWORK_FEATURES; i++) {
        x[i] = inputs[step][i];
    }
}
#else
/* Sum of 12 uniform numbers of +-0.5: deviation 1, 12 fraction bits.
 * Generator: Numerical Recipes, 2nd edition, section 7.1, ranqd1. */
static int16_t draw(void)
{
    static uint32_t seed = 12345;
    int32_t sum = 0;
    uint8_t part;

    for (part = 0; part < 12U; part++) {
        seed = (seed * UINT32_C(1664525)) + UINT32_C(1013904223);
        sum += (int32_t)((seed >> 16) & UINT32_C(4095)) - 2048;
    }
    return (int16_t)sum;
}

static void take_inputs(uint16_t step)
{
    uint16_t i;

    for (i = 0; i < NETWORK_FEATURES; i++) {
        const int16_t value = draw();
#if NETWORK_FLOAT
        x[i] = (float)value / 4096.0F;
        (void)step;
#else
        x[i] = value;
        if ((step & 3U) == 3U) {
            x[i] = (value < 0) ? INT16_MIN : INT16_MAX;
        }
#endif
    }
}
#endif

static void report(uint16_t value)
{
    int8_t shift;

    for (shift = 12; shift >= 0; shift = (int8_t)(shift - 4)) {
        board_put("0123456789abcdef"[(value >> shift) & 15U]);
    }
    board_put('\n');
}

int main(void)
{
    uint16_t most = 0;
    uint16_t step;

    network_reset(&state);
    for (step = 0; step < NETWORK_STEPS; step++) {
        /* The step may change any byte to the paint; not to both paints. */
        const uint8_t paint = ((step & 1U) == 0U) ? 0xA5U : 0x5AU;
        volatile uint8_t *top;
        volatile uint8_t *p;

        take_inputs(step);
        top = board_stack_pointer();
        for (p = top - NETWORK_PAINT; p != top; p++) {
            *p = paint;
        }
        network_step(&state, x, y);
        for (p = top - NETWORK_PAINT; (p != top) && (*p == paint); p++) {
        }
        if ((uint16_t)(top - p) > most) {
            most = (uint16_t)(top - p);
        }
        sink = y[0];
    }
    report(most);
    return 0;
}
