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
/* Codes of sample n of a window. *state is that of what is added to them: numbers of
 * shift bits less than 16 about 0 (Marsaglia 2003, "Xorshift RNGs"), none of state 0. */
static void net_window_code(uint16_t window, uint16_t n, uint16_t *state, uint8_t shift,
                            uint16_t code[NET_N_CHANNELS])
{
    static const uint8_t bits[NET_N_CHANNELS] = NET_CODE_BITS;
    const uint8_t wave = NET_VECTOR_U8(&net_window_wave[window]);
    uint16_t i;

    for (i = 0; i < NET_N_CHANNELS; i++) {
        int32_t c;

        switch (wave) {
        case NET_WAVE_MIDDLE:
            c = (int32_t)1 << (bits[i] - 1U);
            break;
        case NET_WAVE_ZERO:
            c = (int32_t)(uint16_t)NET_VECTOR_I16(&net_window_zero[i]);
            break;
        case NET_WAVE_SQUARE:
            c = (n < (NET_WINDOW / 2U)) ? (int32_t)UINT16_MAX : 0;
            break;
        case NET_WAVE_LOWEST:
            c = 0;
            break;
        case NET_WAVE_HIGHEST:
            c = (int32_t)UINT16_MAX;
            break;
        default:
            c = (int32_t)(uint16_t)NET_VECTOR_I16(&net_window_codes[wave][n % NET_WINDOW_CODES][i]);
            break;
        }
        if (*state != 0U) {
            *state = (uint16_t)(*state ^ (uint16_t)((uint32_t)*state << 7));
            *state = (uint16_t)(*state ^ (*state >> 9));
            *state = (uint16_t)(*state ^ (uint16_t)((uint32_t)*state << 8));
            c += (int32_t)(*state >> shift) - ((int32_t)0x8000 >> shift);
        }
        if (c < 0) {
            c = 0;
        } else if (c > (int32_t)UINT16_MAX) {
            c = (int32_t)UINT16_MAX;
        } else {
            /* fits */
        }
        code[i] = (uint16_t)c;
    }
}

/* Feeds a window, and one sample more, which is ignored. Returns 1 if every call returned
 * what it should, and net_features did nothing before the window was full. */
static uint8_t net_window_fill(net_front *front, uint16_t window)
{
    const uint16_t drawn = ((NET_VECTOR_U8(&net_window_begin[window]) & 2U) != 0U)
        ? 0U : (uint16_t)NET_VECTOR_I16(&net_window_seed[window]);
    const uint8_t shift = (uint8_t)((16U - (drawn & 15U)) & 15U);
    uint16_t state = drawn;
    uint16_t code[NET_N_CHANNELS];
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    uint16_t n;
    uint16_t i;
    uint8_t ok = 1;

    for (i = 0; i < NET_N_FEATURES; i++) {
        x[i] = 1;
    }
    for (n = 0; n < NET_WINDOW; n++) {
        const uint8_t full = (n == (NET_WINDOW - 1U)) ? 1U : 0U;

        net_features(front, x);
        net_window_code(window, n, &state, shift, code);
        ok = (net_sample(front, code) == full) ? ok : 0U;
    }
    ok = (net_sample(front, code) == 2U) ? ok : 0U; /* the window is full */
    for (i = 0; i < NET_N_FEATURES; i++) {
        ok = (x[i] == 1) ? ok : 0U;
    }
    return ok;
}

/* Windows of converter codes through front end and network. Returns 0, or 1 + the number
 * of the first window that differs. */
static int32_t net_window_selftest(void)
{
    net_front front;
    net_state state;
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    int32_t y[NET_N_OUTPUTS];
    int32_t result = 0;
    uint16_t window;

    for (window = 0; (window < NET_VECTOR_WINDOWS) && (result == 0); window++) {
        const uint8_t begin = NET_VECTOR_U8(&net_window_begin[window]);
        uint16_t skip = ((begin & 2U) != 0U) ? (uint16_t)NET_VECTOR_I16(&net_window_seed[window]) : 0U;
        uint16_t i;
        uint8_t ok = 1;

        if ((begin & 1U) != 0U) {
            net_front_reset(&front);
            net_reset(&state);
        }
        for (; skip > 0U; skip--) {
            ok = (net_window_fill(&front, window) != 0U) ? ok : 0U;
            net_features(&front, x);
        }
        ok = (net_window_fill(&front, window) != 0U) ? ok : 0U;
        for (i = 0; i < NET_N_FEATURES; i++) {
            x[i] = (window < NET_VECTOR_WINDOWS_STEPPED) ? NET_VECTOR_I16(&net_window_x[window][i]) : 0;
        }
        net_features(&front, x);
        if (window < NET_VECTOR_WINDOWS_STEPPED) {
            for (i = 0; i < NET_N_FEATURES; i++) {
                ok = (x[i] == NET_VECTOR_I16(&net_window_x[window][i])) ? ok : 0U;
            }
            net_step(&state, x, y);
            for (i = 0; i < NET_N_OUTPUTS; i++) {
                ok = (y[i] == NET_VECTOR_I32(&net_window_y[window][i])) ? ok : 0U;
            }
        } else {
            uint32_t sum = 0;

            for (i = 0; i < NET_N_FEATURES; i++) {
                sum = (UINT32_C(31) * sum) + (uint16_t)x[i];
            }
            ok = (sum == (uint32_t)NET_VECTOR_I32(&net_window_sum[window - NET_VECTOR_WINDOWS_STEPPED]))
                ? ok : 0U;
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
#ifdef NET_VECTOR_VALUES
/* Returns 1 if net_encode_one gives what it should, else 0. */
static uint8_t net_value_selftest(void)
{
    uint8_t ok = 1;
    uint16_t i;

    for (i = 0; i < NET_VECTOR_VALUES; i++) {
        const int16_t x = net_encode_one((uint16_t)NET_VECTOR_I16(&net_values[i].feature),
                                         NET_VECTOR_I32(&net_values[i].value));

        ok = (x == NET_VECTOR_I16(&net_values[i].x)) ? ok : 0U;
    }
    return ok;
}
#endif

#ifdef NET_WITH_FLOAT
/* Returns 1 if net_encode and net_encode_checked give what they should, else 0. The last row is
 * NaN in every feature. */
static uint8_t net_encode_selftest(void)
{
    const volatile float zero = 0.0f;
    float physical[NET_N_FEATURES];
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    int16_t checked[NET_N_FEATURES];
    uint8_t mask[NET_MASK_BYTES];
    uint8_t ok = 1;
    uint16_t row;
    uint16_t i;

    for (row = 0; row <= NET_VECTOR_FLOATS; row++) {
        uint16_t expected = 0;
        uint16_t count;

        for (i = 0; i < NET_N_FEATURES; i++) {
            physical[i] = (row < NET_VECTOR_FLOATS) ? NET_VECTOR_F32(&net_float_physical[row][i]) : (zero / zero);
        }
        net_encode(physical, x);
        count = net_encode_checked(physical, checked, mask);
        for (i = 0; i < NET_N_FEATURES; i++) {
            const int16_t want = (row < NET_VECTOR_FLOATS) ? NET_VECTOR_I16(&net_float_x[row][i]) : 0;
            const uint8_t outside = ((row == NET_VECTOR_FLOATS) || (want == INT16_MAX) || (want == INT16_MIN)) ? 1U : 0U;

            expected = (uint16_t)(expected + outside);
            ok = ((x[i] == want) && (checked[i] == want) && ((((uint32_t)mask[i / 8U] >> (i % 8U)) & 1U) == outside)) ? ok : 0U;
        }
        ok = (count == expected) ? ok : 0U;
    }
    return ok;
}

/* Returns 1 if net_decode gives what it should, else 0: every product is exact. */
static uint8_t net_decode_selftest(void)
{
    static const int32_t integers[NET_VECTOR_DECODED] = { 0, 1, -1, 12345678, INT32_MAX, INT32_MIN };
    int32_t y[NET_N_OUTPUTS];
    float physical[NET_N_OUTPUTS];
    uint8_t ok = 1;
    uint16_t row;
    uint16_t i;

    for (row = 0; row < NET_VECTOR_DECODED; row++) {
        for (i = 0; i < NET_N_OUTPUTS; i++) {
            y[i] = integers[row];
        }
        net_decode(y, physical);
        for (i = 0; i < NET_N_OUTPUTS; i++) {
            const float want = NET_VECTOR_F32(&net_float_y[row][i]);

            ok = ((physical[i] >= want) && (physical[i] <= want)) ? ok : 0U;
        }
    }
    return ok;
}
#endif

/* Returns 1 if the long sequence ends as it should, else 0. */
static uint8_t net_long_selftest(void)
{
    net_state state;
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    int32_t y[NET_N_OUTPUTS];
    uint8_t ok = 1;
    uint16_t at = 0;
    uint32_t left;

    net_reset(&state);
    for (left = NET_VECTOR_LONG_STEPS; left > 0U; left--) {
        uint16_t i;

        for (i = 0; i < NET_N_FEATURES; i++) {
            x[i] = NET_VECTOR_I16(&net_vector_x[at][i]);
        }
        at = (at == (NET_VECTOR_STEPS - 1U)) ? 0U : (uint16_t)(at + 1U);
        net_step(&state, x, y);
        if (left <= NET_VECTOR_LONG_COMPARED) {
            for (i = 0; i < NET_N_OUTPUTS; i++) {
                ok = (y[i] == NET_VECTOR_I32(&net_vector_long_y[NET_VECTOR_LONG_COMPARED - left][i])) ? ok : 0U;
            }
        }
    }
    return ok;
}

#if NET_FRONT == 1
#define NET_SELFTEST_PARTS (NET_VECTOR_STEPS + NET_VECTOR_WINDOWS)
#else
#define NET_SELFTEST_PARTS NET_VECTOR_STEPS
#endif

/* Checks behind the steps, and behind the windows, each with a number of its own. */
static int32_t net_other_selftest(void)
{
    int32_t result = 0;

    if (net_long_selftest() == 0U) {
        result = 1;
#ifdef NET_VECTOR_VALUES
    } else if (net_value_selftest() == 0U) {
        result = 2;
#endif
#ifdef NET_WITH_FLOAT
    } else if (net_encode_selftest() == 0U) {
        result = 3;
    } else if (net_decode_selftest() == 0U) {
        result = 4;
#endif
    } else {
        /* everything is equal */
    }
#ifndef NET_SELFTEST_NO_STDIO
    if (result != 0) {
        static const char *const names[4] = { "the long sequence", "net_encode_one", "net_encode", "net_decode" };

        (void)printf("%s differs\n", names[result - 1]);
    }
#endif
    return result;
}

int32_t net_selftest(void)
{
    net_state state;
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    int32_t y[NET_N_OUTPUTS];
    int32_t result = 0;
    uint16_t step;

    if (net_id() != NET_ID) {
        result = -1;
#ifndef NET_SELFTEST_NO_STDIO
        (void)printf("net.c is of another export: 0x%08lX, this one is 0x%08lX\n",
                     (unsigned long)net_id(), (unsigned long)NET_ID);
#endif
    }
    net_reset(&state);
    for (step = 0; (step < NET_VECTOR_STEPS) && (result == 0); step++) {
        uint16_t i;

        if (NET_VECTOR_U8(&net_vector_reset[step]) != 0U) {
            net_reset(&state);
        }
        for (i = 0; i < NET_N_FEATURES; i++) {
            x[i] = NET_VECTOR_I16(&net_vector_x[step][i]);
        }
        net_step(&state, x, y);
        for (i = 0; i < NET_N_OUTPUTS; i++) {
            const int32_t expected = NET_VECTOR_I32(&net_vector_y[step][i]);

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
    if (result == 0) {
        const int32_t other = net_other_selftest();

        result = (other == 0) ? 0 : ((int32_t)NET_SELFTEST_PARTS + other);
    }
    return result;
}

#ifndef NET_SELFTEST_NO_STDIO
int main(void)
{
    if (net_selftest() != 0) {
        return 1;
    }
#if NET_FRONT == 1
    (void)printf("%u steps of %u outputs, %u windows of codes: every integer matches\n",
                 (unsigned)NET_VECTOR_STEPS, (unsigned)NET_N_OUTPUTS, (unsigned)NET_VECTOR_WINDOWS);
#else
    (void)printf("%u steps, %u outputs each: every integer matches\n",
                 (unsigned)NET_VECTOR_STEPS, (unsigned)NET_N_OUTPUTS);
#endif
    return 0;
}
#endif
