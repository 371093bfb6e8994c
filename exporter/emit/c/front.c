/*@file*/
#include "net.h"

/*@rom*/
/* Keeps what is read and written before it apart from what comes after it, as far as
 * the compiler goes: net_sample may interrupt net_features between any two
 * instructions. Define it beforehand for a compiler that has neither form. */
#ifndef NET_BARRIER
#if defined(__GNUC__)
#define NET_BARRIER() __asm__ volatile("" ::: "memory")
#elif defined(__STDC_VERSION__) && (__STDC_VERSION__ >= 201112L) && !defined(__STDC_NO_ATOMICS__)
#include <stdatomic.h>
#define NET_BARRIER() atomic_signal_fence(memory_order_seq_cst)
#else
#error "define NET_BARRIER(): nothing is read or written across it"
#endif
#endif

#if NET_USES_LIMIT == 1
/* A converter code limited to its bits: no code makes a sum overflow. */
#if defined(__ARM_FEATURE_SAT) && defined(__GNUC__)
#define NET_LIMITED(code, bits) ((uint16_t)__builtin_arm_usat((int32_t)(code), (bits)))
#else
#define NET_LIMITED(code, bits) (((code) > ((1U << (bits)) - 1U)) ? (uint16_t)((1U << (bits)) - 1U) : (code))
#endif

#endif
/* Kept out of its caller, and there once. */
#if defined(__GNUC__)
#define NET_APART __attribute__((noinline))
#else
#define NET_APART
#endif

/* The same where instructions are short. Others save the call. */
#if defined(__thumb2__)
#define NET_APART_IF_SHORT inline
#else
#define NET_APART_IF_SHORT NET_APART
#endif

#define NET_CHECK(name, condition) typedef char net_check_##name[(condition) ? 1 : -1]

NET_CHECK(int_has_16_bits, sizeof(int) >= sizeof(int16_t));
NET_CHECK(shift_copies_the_sign, ((int32_t)-3 >> 1) == (int32_t)-2);
NET_CHECK(front_source_and_header_belong_together, NET_ID == 0x@ID@UL);
NET_CHECK(front_bytes, NET_FRONT_BYTES == sizeof(net_front));

/*@scaling*/
/*@scales*/

/*@scaled*/

/* Brings n whole numbers to x. */
static NET_APART void net_scale_all(const int32_t *values, const net_scale *s, uint_fast16_t n, int16_t *x)
{
    do {
#if NET_USES_FAR == 1
        x[(uint16_t)NET_ROM_I16(&s->at)] = net_scaled(*values, s);
#else
        x[NET_ROM_U8(&s->at)] = net_scaled(*values, s);
#endif
        values++;
        s++;
        n--;
    } while (n > 0U);
}

#if NET_USES_LEADING == 1
/* Leading zero bits of v, which is not 0. */
#if defined(__ARM_FEATURE_CLZ) && defined(__GNUC__)
static inline uint_fast8_t net_leading(uint32_t v)
{
    return (uint_fast8_t)__builtin_clz(v);
}
#else
static NET_APART uint_fast8_t net_leading(uint32_t v)
{
    uint_fast8_t zeros = 0;

    if (v < UINT32_C(0x10000)) {
        v <<= 16;
        zeros = 16;
    }
    if (v < UINT32_C(0x1000000)) {
        v <<= 8;
        zeros = (uint_fast8_t)(zeros + 8U);
    }
    while (v < UINT32_C(0x80000000)) {
        v <<= 1;
        zeros++;
    }
    return zeros;
}
#endif
#endif

#if NET_USES_SHIFTED == 1
/* v / 2^shift rounded to nearest, halves upwards; the result fits. */
static NET_APART_IF_SHORT uint32_t net_shifted(uint32_t v, int_fast8_t shift)
{
    uint32_t result;

    if (shift <= 0) {
        result = v << (uint_fast8_t)-shift;
    } else if (shift > 32) {
        result = 0;
    } else {
        result = ((v >> (uint_fast8_t)(shift - 1)) + 1U) >> 1;
    }
    return result;
}
#endif

#if NET_USES_LINES == 1
/*@angles*/
/* One turn of a vector. */
#define NET_TURN(re, im, i) do { \
        const int32_t dx = (im) >> (i); \
        const int32_t dy = (re) >> (i); \
        if ((im) > 0) { \
            (re) += dx; \
            (im) -= dy; \
        } else { \
            (re) -= dx; \
            (im) += dy; \
        } \
    } while (0)

/* The same, and adds up the angle in 2^-32 of a turn. */
#define NET_TURN_ANGLE(re, im, turned, i) do { \
        const uint32_t turn = (uint32_t)NET_ROM_I32(&net_turn_angles[i]); \
        (turned) = ((im) > 0) ? ((turned) + turn) : ((turned) - turn); \
        NET_TURN(re, im, i); \
    } while (0)

/* Length of a vector, times a constant / 2^down, and its angle in 2^-32 of a turn, unless
 * angle is NULL. The vector is turned onto the axis of re in steps of which the tangents
 * are powers of two (Volder 1959, "The CORDIC trigonometric computing technique"). */
static NET_APART uint32_t net_polar(int32_t re, int32_t im, int_fast8_t down, uint32_t *angle)
{
    const uint32_t size = (uint32_t)(re ^ (re >> 31)) | (uint32_t)(im ^ (im >> 31)); /* about */
    uint32_t turned = 0;
    uint32_t length = 0;

    if (size != 0U) {
        const uint_fast8_t zeros = net_leading(size); /* three shall stay */
        uint_fast8_t i = 0;
        uint_fast8_t end;

        re = (int32_t)((uint32_t)re << (uint_fast8_t)(zeros - 1U)) >> 2;
        im = (int32_t)((uint32_t)im << (uint_fast8_t)(zeros - 1U)) >> 2;
        if (re < 0) { /* half a turn */
            re = -re;
            im = -im;
            turned = UINT32_C(0x80000000);
        }
#if defined(__thumb2__)
        if (angle == NULL) { /* such a core shifts and adds in one instruction */
/*@turns*/
            length = (uint32_t)re;
        } else
#endif
        {
            for (end = NET_LENGTH_TURNS;; end = NET_TURNS) {
                do {
                    NET_TURN_ANGLE(re, im, turned, i);
                    i++;
                } while (i < end);
                if (end == NET_TURNS) {
                    break;
                }
                length = (uint32_t)re;
                if (angle == NULL) {
                    break;
                }
            }
        }
        length = net_shifted(length, (int_fast8_t)(down + (int_fast8_t)zeros - 3));
    }
    if (angle != NULL) {
        *angle = turned;
    }
    return length;
}

#endif

#if NET_USES_PHASE == 1
/* An angle with 30 bits; there is no half a turn downwards. */
static int32_t net_angle(uint32_t angle)
{
    return (int32_t)(angle - (uint32_t)(angle == UINT32_C(0x80000000))) >> 2;
}
#endif

#if NET_USES_ROOT32 == 1
/* Square root, rounded to nearest. */
static uint32_t net_root32(uint32_t v)
{
    uint32_t bit = UINT32_C(1) << 30;
    uint32_t r = 0;

    while (bit > v) {
        bit >>= 2;
    }
    while (bit != 0U) {
        const uint32_t next = r + bit;

        r >>= 1;
        if (v >= next) {
            v -= next;
            r += bit;
        }
        bit >>= 2;
    }
    return (v > r) ? (r + 1U) : r;
}

#endif
#if NET_USES_RIPPLE == 1
#if defined(__thumb__) && !defined(__thumb2__)
/* a * b: such a core has no product of 64 bits, and its library's takes more. */
static NET_APART uint64_t net_product(uint32_t a, uint32_t b)
{
    const uint32_t low = (uint32_t)(uint16_t)a * (uint16_t)b;
    const uint32_t middle = ((a >> 16) * (uint16_t)b) + (low >> 16);
    const uint32_t other = ((uint32_t)(uint16_t)a * (b >> 16)) + (uint16_t)middle;
    const uint32_t high = ((a >> 16) * (b >> 16)) + (middle >> 16) + (other >> 16);

    return ((uint64_t)high << 32) | (other << 16) | (uint16_t)low;
}
#else
static inline uint64_t net_product(uint32_t a, uint32_t b)
{
    return (uint64_t)a * b;
}
#endif

static uint64_t net_square(int32_t v)
{
    const uint32_t amount = (v < 0) ? (0U - (uint32_t)v) : (uint32_t)v;

    return net_product(amount, amount);
}

#endif
#if NET_USES_ROOT == 1
/* Square root below 2^30, rounded to nearest. */
static NET_APART int32_t net_root(uint64_t v)
{
    uint32_t high = (uint32_t)(v >> 32);
    uint32_t low = (uint32_t)v;
    uint32_t rest = 0;
    uint32_t r = 0;
    uint_fast8_t i;

    for (i = 0; i < 32U; i++) { /* digits with base 4 */
        rest = (rest << 2) | ((uint8_t)(high >> 24) >> 6);
        high = (high << 2) | ((uint8_t)(low >> 24) >> 6);
        low <<= 2;
        r <<= 1;
        if (rest > r << 1) {
            rest -= (r << 1) + 1U;
            r++;
        }
    }
    return (int32_t)((rest > r) ? (r + 1U) : r);
}

#endif
#if NET_USES_RATIO == 1
/* a / b with 16 fraction bits, of which the first 16 of the quotient count; at most
 * 2^30 - 1. */
static NET_APART int32_t net_ratio(uint32_t a, uint32_t b)
{
    int32_t result = (INT32_C(1) << 30) - 1;

    if (a == 0U) {
        result = 0;
    } else if (b != 0U) {
        const uint_fast8_t up_a = net_leading(a);
        const uint_fast8_t up_b = net_leading(b);
        const int_fast8_t down = (int_fast8_t)((int_fast8_t)up_a - (int_fast8_t)up_b - 1);
        uint32_t quotient = 0;
        uint_fast8_t i;

        a = (a << up_a) >> 1;
        b = (b << up_b) >> 1;
        for (i = 0; i < 16U; i++) {
            quotient <<= 1;
            if (a >= b) {
                a -= b;
                quotient++;
            }
            a <<= 1;
        }
        if ((down > -14) || ((quotient >> (uint8_t)(30 + down)) == 0U)) {
            result = (int32_t)net_shifted(quotient, down);
        }
    } else {
        /* a / 0 has no end */
    }
    return result;
}

#endif
#if NET_USES_DISTORTION == 1
/* Root of the sum of squares of the lengths of n lines behind the first, each with as many bits
 * of the largest as fit 32 bits, as a share of the first; 0 where that is below the floor. */
static NET_APART int32_t net_distortion(const uint32_t *lengths, uint_fast8_t n, uint_fast8_t most_bits, uint32_t floor)
{
    uint32_t most = 0;
    uint32_t squares = 0;
    uint_fast8_t down = 0;
    uint_fast8_t i;

    if (lengths[0] < floor) {
        return 0;
    }
    for (i = n; i > 0U; i--) {
        most |= lengths[i];
    }
    if (most != 0U) {
        const uint_fast8_t bits = (uint_fast8_t)(32U - net_leading(most));

        down = (bits > most_bits) ? (uint_fast8_t)(bits - most_bits) : 0U;
    }
    for (i = n; i > 0U; i--) {
        const uint32_t part = lengths[i] >> down;

        squares += part * part;
    }
    return net_ratio(net_root32(squares) << down, lengths[0]);
}

#endif
#if NET_USES_RELATIVE == 1
#if NET_USES_RELATIVE64 == 1
typedef int64_t net_total;
typedef uint64_t net_amount;
#else
typedef int32_t net_total;
typedef uint32_t net_amount;
#endif

/* How far the sum of a window is from the mean of `steps` sums, which add up to total,
 * as a share of that mean about physical zero; 0 where that is below the floor. */
static NET_APART int32_t net_relative(int32_t sum, net_total total, uint32_t steps, int32_t zero, int32_t floor)
{
    const net_total base = total + ((net_total)zero * (net_total)steps);
    const net_total apart = ((net_total)sum * (net_total)steps) - total;
    net_amount size = (net_amount)((base < 0) ? -base : base);
    net_amount distance = (net_amount)((apart < 0) ? -apart : apart);
    int32_t result = 0;

    if ((size != 0U) && (size >= ((net_amount)floor * steps))) {
#if NET_USES_RELATIVE64 == 1
        while (((size | distance) >> 32) != 0U) {
            size >>= 1;
            distance >>= 1;
        }
#endif
        result = net_ratio((uint32_t)distance, (uint32_t)size);
        if ((base < 0) != (apart < 0)) {
            result = -result;
        }
    }
    return result;
}

#endif
#if NET_USES_LINES == 1
/* The harmonics of channels, each list with a 0 behind it. */
#if NET_USES_HIGH == 1
typedef uint16_t net_listed;
#define NET_LISTED(p) ((uint16_t)NET_ROM_I16(p))
#define NET_WITH_ANGLE 0x8000U
#else
typedef uint8_t net_listed;
#define NET_LISTED(p) NET_ROM_U8(p)
#define NET_WITH_ANGLE 0x80U
#endif
/*@lists*/
#endif
/*@folds*/
/*@clearing*/
/*@sample*/
/*@features*/
/*@reset*/
/*@encode*/
