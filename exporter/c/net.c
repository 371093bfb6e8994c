/*@file*/
#include "net.h"

/* What the code assumes of the compiler; compilation stops where it does not hold.
 *  - right shift of a negative value copies the sign (C99 6.5.7p5 leaves it open)
 *  - exact-width types of 8, 16 and 32 bits exist, and bytes have 8 bits
 *  - conversion to a narrower signed type is only used on values that fit
 * Nothing relies on wrap-around: net_weights.h carries the proof that no
 * accumulator overflows.
 * Deviation from the usual safety-coding guidelines: signed right shifts, in
 * net_round_shift and net_blend only, under the check above. */
#define NET_CHECK(name, condition) typedef char net_check_##name[(condition) ? 1 : -1]

NET_CHECK(shift_copies_the_sign, ((int32_t)-3 >> 1) == (int32_t)-2);
NET_CHECK(byte_has_8_bits, (uint8_t)255 == 255 && sizeof(int8_t) == 1 && sizeof(int16_t) == 2 && sizeof(int32_t) == 4);

/* Constants stay in program memory where that has an address space of its own. */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define NET_ROM PROGMEM
#define NET_ROM_U8(p) ((uint8_t)pgm_read_byte(p))
#define NET_ROM_I8(p) ((int8_t)pgm_read_byte(p))
#define NET_ROM_I16(p) ((int16_t)pgm_read_word(p))
#define NET_ROM_I32(p) ((int32_t)pgm_read_dword(p))
#define NET_ROM_F32(p) (pgm_read_float(p))
#else
#define NET_ROM
#define NET_ROM_U8(p) (*(p))
#define NET_ROM_I8(p) (*(p))
#define NET_ROM_I16(p) (*(p))
#define NET_ROM_I32(p) (*(p))
#define NET_ROM_F32(p) (*(p))
#endif

#include "net_weights.h"

NET_CHECK(header_and_weights_belong_together, NET_ID == NET_WEIGHTS_ID);
NET_CHECK(weight_bytes, NET_WEIGHT_BYTES ==
    sizeof net_w_x + sizeof net_b_x + sizeof net_shift_x +
    sizeof net_w_h + sizeof net_b_h + sizeof net_shift_h +
    sizeof net_w_y + sizeof net_b_y);
NET_CHECK(table_bytes, NET_TABLE_BYTES == sizeof net_tanh_Q15);
NET_CHECK(state_bytes, NET_STATE_BYTES == sizeof(net_state));

/* v / 2^shift rounded to nearest, halves upwards.
 * 1 <= shift <= 30, and v + 2^(shift-1) fits 32 bits. */
static int32_t net_round_shift(int32_t v, uint8_t shift)
{
    return (v + ((int32_t)1 << (shift - 1))) >> shift;
}

/* v limited to the range of int16. */
static int16_t net_sat16(int32_t v)
{
    int32_t limited = v;

    if (v > INT16_MAX) {
        limited = INT16_MAX;
    } else if (v < INT16_MIN) {
        limited = INT16_MIN;
    } else {
        /* v fits */
    }
    return (int16_t)limited;
}

/* tanh(v / 2^(shift+5)) with 15 fraction bits: table of tanh(i/32), linear
 * interpolation, odd. 1 <= shift <= 8. Worst error: see net_weights.h. */
static int16_t net_tanh_table(int16_t v, uint8_t shift)
{
    const int32_t end = ((int32_t)NET_TABLE_STEPS << shift) - 1;
    int32_t magnitude = (v < 0) ? -(int32_t)v : (int32_t)v;
    int32_t low;
    int32_t high;
    int32_t value;
    uint16_t index;

    if (magnitude > end) {
        magnitude = end;
    }
    index = (uint16_t)(magnitude >> shift);
    low = NET_ROM_I16(&net_tanh_Q15[index]);
    high = NET_ROM_I16(&net_tanh_Q15[index + 1U]);
    value = low + net_round_shift((high - low) * (magnitude & (((int32_t)1 << shift) - 1)), shift);
    return (int16_t)((v < 0) ? -value : value);
}

/* 1/(1+exp(-v)) with 16 fraction bits, 1..65535, as (1 + tanh(v/2))/2.
 * v has NET_GATE_FRACTION_BITS fraction bits. */
static uint16_t net_logistic(int16_t v)
{
    return (uint16_t)(INT32_C(32768) + net_tanh_table(v, NET_TABLE_SHIFT + 1U));
}

/* tanh(v) with 15 fraction bits; v has NET_GATE_FRACTION_BITS. */
static int16_t net_tanh(int16_t v)
{
    return net_tanh_table(v, NET_TABLE_SHIFT);
}

#if NET_STATE_BITS == 32
/* New state: old + (1 - keep)(candidate - old), 30 fraction bits. The product
 * of 32 and 16 bits is taken in two halves. keep has 16 fraction bits, 1..65535. */
static int32_t net_blend(uint16_t keep_Q16, int32_t old_Q30, int16_t candidate_Q15)
{
    const int32_t difference = ((int32_t)candidate_Q15 * INT32_C(32768)) - old_Q30;
    const int32_t share = INT32_C(65536) - (int32_t)keep_Q16;
    const int32_t high = difference >> 16;
    const uint32_t low = (uint32_t)difference & UINT32_C(0xFFFF);

    return old_Q30 + (high * share) + (int32_t)(((low * (uint32_t)share) + UINT32_C(32768)) >> 16);
}
#else
/* New state: keep * old + (1 - keep) * candidate, 15 fraction bits.
 * keep has 16 fraction bits, 1..65535; |old|, |candidate| <= 32767. */
static int16_t net_blend(uint16_t keep_Q16, int16_t old_Q15, int16_t candidate_Q15)
{
    const int32_t keep = (int32_t)keep_Q16;

    return (int16_t)net_round_shift((keep * old_Q15) + ((INT32_C(65536) - keep) * candidate_Q15), 16);
}
#endif

#if NET_ANY_W8 == 1
/* start + sum of w[i] * v[i]; int8 weights. */
static int32_t net_dot_w8(int32_t start, const int8_t *w, const int16_t *v, uint16_t n)
{
    int32_t sum = start;
    uint16_t i;

    for (i = 0; i < n; i++) {
        sum += (int32_t)NET_ROM_I8(&w[i]) * v[i];
    }
    return sum;
}
#endif

#if NET_ANY_W16 == 1
/* start + sum of w[i] * v[i]; int16 weights. */
static int32_t net_dot_w16(int32_t start, const int16_t *w, const int16_t *v, uint16_t n)
{
    int32_t sum = start;
    uint16_t i;

    for (i = 0; i < n; i++) {
        sum += (int32_t)NET_ROM_I16(&w[i]) * v[i];
    }
    return sum;
}
#endif

/* Row of W x + b, NET_GATE_FRACTION_BITS fraction bits. */
static int16_t net_input_row(uint16_t row, const int16_t *x)
{
#if NET_W_X_BITS == 8
    const int32_t sum = net_dot_w8(NET_ROM_I32(&net_b_x[row]),
                                     &net_w_x[(size_t)row * NET_N_FEATURES], x, NET_N_FEATURES);
#else
    const int32_t sum = net_dot_w16(NET_ROM_I32(&net_b_x[row]),
                                     &net_w_x[(size_t)row * NET_N_FEATURES], x, NET_N_FEATURES);
#endif

    return net_sat16(net_round_shift(sum, NET_ROM_U8(&net_shift_x[row])));
}

/* Row of U h + d, NET_GATE_FRACTION_BITS fraction bits. */
static int16_t net_state_row(uint16_t row, const int16_t *h_Q15)
{
#if NET_W_H_BITS == 8
    const int32_t sum = net_dot_w8(NET_ROM_I32(&net_b_h[row]),
                                     &net_w_h[(size_t)row * NET_N_UNITS], h_Q15, NET_N_UNITS);
#else
    const int32_t sum = net_dot_w16(NET_ROM_I32(&net_b_h[row]),
                                     &net_w_h[(size_t)row * NET_N_UNITS], h_Q15, NET_N_UNITS);
#endif

    return net_sat16(net_round_shift(sum, NET_ROM_U8(&net_shift_h[row])));
}

#if NET_STATE_BITS == 32
/* The state with 15 fraction bits, as the matrices take it. */
static void net_narrow(const net_state *s, int16_t h_Q15[NET_N_UNITS])
{
    uint16_t j;

    for (j = 0; j < NET_N_UNITS; j++) {
        h_Q15[j] = net_sat16(net_round_shift(s->h_Q30[j], 15));
    }
}
#endif

void net_reset(net_state *s)
{
    uint16_t j;

    for (j = 0; j < NET_N_UNITS; j++) {
#if NET_STATE_BITS == 32
        s->h_Q30[j] = 0;
#else
        s->h_Q15[j] = 0;
#endif
    }
}

void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS])
{
#if NET_STATE_BITS == 32
    int16_t h_Q15[NET_N_UNITS];
#else
    int16_t next_Q15[NET_N_UNITS];
    const int16_t *const h_Q15 = s->h_Q15;
#endif
    uint16_t j;

#if NET_STATE_BITS == 32
    net_narrow(s, h_Q15);
#endif
    for (j = 0; j < NET_N_UNITS; j++) {
        const uint16_t row_z = (uint16_t)(j + NET_N_UNITS);
        const uint16_t row_n = (uint16_t)(row_z + NET_N_UNITS);
        const int32_t reset_in = (int32_t)net_input_row(j, x) + net_state_row(j, h_Q15);
        const int32_t keep_in = (int32_t)net_input_row(row_z, x) + net_state_row(row_z, h_Q15);
        const uint16_t reset_Q16 = net_logistic(net_sat16(reset_in));
        const uint16_t keep_Q16 = net_logistic(net_sat16(keep_in));
        const int32_t memory = net_round_shift((int32_t)reset_Q16 * net_state_row(row_n, h_Q15), 16);
        const int16_t candidate_Q15 = net_tanh(net_sat16(net_input_row(row_n, x) + memory));

#if NET_STATE_BITS == 32
        s->h_Q30[j] = net_blend(keep_Q16, s->h_Q30[j], candidate_Q15);
#else
        next_Q15[j] = net_blend(keep_Q16, h_Q15[j], candidate_Q15);
#endif
    }
#if NET_STATE_BITS == 32
    net_narrow(s, h_Q15);
#else
    for (j = 0; j < NET_N_UNITS; j++) {
        s->h_Q15[j] = next_Q15[j];
    }
#endif
    for (j = 0; j < NET_N_OUTPUTS; j++) {
#if NET_W_Y_BITS == 8
        y[j] = net_dot_w8(NET_ROM_I32(&net_b_y[j]),
                          &net_w_y[(size_t)j * NET_N_UNITS], h_Q15, NET_N_UNITS);
#else
        y[j] = net_dot_w16(NET_ROM_I32(&net_b_y[j]),
                           &net_w_y[(size_t)j * NET_N_UNITS], h_Q15, NET_N_UNITS);
#endif
    }
}

#ifdef NET_WITH_FLOAT
void net_encode(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES])
{
    uint16_t i;

    for (i = 0; i < NET_N_FEATURES; i++) {
        const float v = (physical[i] - NET_ROM_F32(&net_mean[i])) * NET_ROM_F32(&net_factor[i]);

        if (v != v) {
            x[i] = 0;
        } else if (v >= 32767.0f) {
            x[i] = INT16_MAX;
        } else if (v <= -32768.0f) {
            x[i] = INT16_MIN;
        } else if (v >= 0.0f) {
            x[i] = (int16_t)(v + 0.5f);
        } else {
            x[i] = (int16_t)-(int32_t)(0.5f - v);
        }
    }
}

void net_decode(const int32_t y[NET_N_OUTPUTS], float physical[NET_N_OUTPUTS])
{
    uint16_t o;

    for (o = 0; o < NET_N_OUTPUTS; o++) {
        physical[o] = (float)y[o] * NET_ROM_F32(&net_step_of_y[o]);
    }
}
#endif
