/*@file*/
/* Replays recorded vectors. Compile with -DNET_SELFTEST_NO_STDIO for a target
 * without stdio: then call net_selftest() from a main() of your own. */
#include "net.h"
#include "net_vectors.h"

#if NET_VECTORS_ID != NET_ID
#error "net_vectors.h and net.h are of different exports"
#endif

#ifndef NET_SELFTEST_NO_STDIO
#include <stdio.h>
#endif

#if NET_FRONT == 1
/* Code of a channel at sample n of a window. */
static uint16_t net_window_code(uint16_t window, uint16_t n, uint16_t channel)
{
    static const uint8_t bits[NET_N_CHANNELS] = NET_CODE_BITS;
    const uint8_t at = NET_ROM_U8(&net_window_at[window]);
    const uint16_t middle = (uint16_t)(1U << (bits[channel] - 1U));
    uint16_t code = middle;

    if (at == 254U) {
        code = (n < (NET_WINDOW / 2U)) ? (uint16_t)(middle + (middle - 1U)) : 0U;
    } else if (at != 255U) {
        code = (uint16_t)NET_ROM_I16(&net_window_codes[at][n][channel]);
    } else {
        /* the middle code */
    }
    return code;
}

/* Windows of converter codes through front end and network. Returns 0, or 1 + the number
 * of the first window that differs. */
static int32_t net_window_selftest(void)
{
    net_front front;
    net_state state;
    int16_t x[NET_N_FEATURES];
    int32_t y[NET_N_OUTPUTS];
    int32_t result = 0;
    uint16_t window;

    net_front_reset(&front);
    net_reset(&state);
    for (window = 0; (window < NET_VECTOR_WINDOWS) && (result == 0); window++) {
        uint16_t code[NET_N_CHANNELS];
        uint16_t n;
        uint16_t i;
        uint8_t ok = 1;

        if (NET_ROM_U8(&net_window_reset[window]) != 0U) {
            net_front_reset(&front);
            net_reset(&state);
        }
        for (n = 0; n < NET_WINDOW; n++) {
            const uint8_t full = (n == (NET_WINDOW - 1U)) ? 1U : 0U;

            for (i = 0; i < NET_N_CHANNELS; i++) {
                code[i] = net_window_code(window, n, i);
            }
            ok = (net_sample(&front, code) == full) ? ok : 0U;
        }
        ok = (net_sample(&front, code) == 2U) ? ok : 0U; /* the window is full */
        for (i = 0; i < NET_N_FEATURES; i++) {
            x[i] = NET_ROM_I16(&net_window_x[window][i]);
        }
        net_features(&front, x);
        for (i = 0; i < NET_N_FEATURES; i++) {
            ok = (x[i] == NET_ROM_I16(&net_window_x[window][i])) ? ok : 0U;
        }
        net_step(&state, x, y);
        for (i = 0; i < NET_N_OUTPUTS; i++) {
            ok = (y[i] == NET_ROM_I32(&net_window_y[window][i])) ? ok : 0U;
        }
        if (ok == 0U) {
            result = 1 + (int32_t)window;
#ifndef NET_SELFTEST_NO_STDIO
            (void)printf("window %u of converter codes differs\n", (unsigned)window);
#endif
        }
    }
    return result;
}

#endif
int32_t net_selftest(void)
{
    net_state state;
    int16_t x[NET_N_FEATURES];
    int32_t y[NET_N_OUTPUTS];
    int32_t result = ((uint32_t)NET_ROM_I32(&net_id) == NET_ID) ? 0 : 1;
    uint16_t step;

    net_reset(&state);
    for (step = 0; (step < NET_VECTOR_STEPS) && (result == 0); step++) {
        uint16_t i;

        if (NET_ROM_U8(&net_vector_reset[step]) != 0U) {
            net_reset(&state);
        }
        for (i = 0; i < NET_N_FEATURES; i++) {
            x[i] = NET_ROM_I16(&net_vector_x[step][i]);
        }
        net_step(&state, x, y);
        for (i = 0; i < NET_N_OUTPUTS; i++) {
            const int32_t expected = NET_ROM_I32(&net_vector_y[step][i]);

            if ((y[i] != expected) && (result == 0)) {
                result = 1 + (int32_t)step;
#ifndef NET_SELFTEST_NO_STDIO
                (void)printf("step %u, output %u: got %ld, expected %ld\n",
                             (unsigned)step, (unsigned)i, (long)y[i], (long)expected);
#endif
            }
        }
    }
#if NET_FRONT == 1
    if (result == 0) {
        const int32_t window = net_window_selftest();

        result = (window == 0) ? 0 : ((int32_t)NET_VECTOR_STEPS + window);
    }
#endif
    return result;
}

#ifndef NET_SELFTEST_NO_STDIO
int main(void)
{
    if (net_selftest() != 0) {
        return 1;
    }
#if NET_FRONT == 1
    (void)printf("%u steps and %u windows of codes, %u outputs each: every integer matches\n",
                 (unsigned)NET_VECTOR_STEPS, (unsigned)NET_VECTOR_WINDOWS, (unsigned)NET_N_OUTPUTS);
#else
    (void)printf("%u steps, %u outputs each: every integer matches\n",
                 (unsigned)NET_VECTOR_STEPS, (unsigned)NET_N_OUTPUTS);
#endif
    return 0;
}
#endif
