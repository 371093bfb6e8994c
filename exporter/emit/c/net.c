/*@file*/
#include "net.h"

/*@rom*/
/* Rows of weights are read by a kernel in assembler where there is one for the core; then cycles
 * hardly depend on compiler options. -DNET_PORTABLE takes plain C on any core, the definition of
 * what the kernels do, to see where a difference comes from. */
#if defined(__AVR__) && defined(__clang__)
#error "clang reads constants of 8-bit AVR from RAM: compile this file with GCC"
#endif
#if defined(__GNUC__) && !defined(NET_PORTABLE)
#if defined(__thumb__) && !defined(__ARM_BIG_ENDIAN)
#if defined(__ARM_FEATURE_SIMD32)
#define NET_KERNEL_ARMV7EM
#elif defined(__thumb2__) && defined(__ARM_FEATURE_SAT)
#define NET_KERNEL_ARMV7M
#elif !defined(__thumb2__)
#define NET_KERNEL_ARMV6M
#endif
#elif defined(__riscv_mul) && (__riscv_xlen == 32) && !defined(__riscv_32e)
#define NET_KERNEL_RV32IM
#elif defined(__AVR_HAVE_MUL__) && defined(__AVR_HAVE_LPMX__)
#define NET_KERNEL_AVR
#if defined(NET_WEIGHTS_IN_RAM)
#define NET_LOAD "ld"
#else
#define NET_LOAD "lpm"
#endif
#endif
#define NET_KERNEL __attribute__((naked, noinline)) void
#define NET_UNUSED __attribute__((unused))
#endif

/* Kept out of its caller: a loop that has the registers to itself is faster. Small functions are
 * kept inside, whatever the compiler is asked for. */
#if defined(__GNUC__)
#define NET_APART __attribute__((noinline))
#define NET_INSIDE inline __attribute__((always_inline))
#else
#define NET_APART
#define NET_INSIDE inline
#endif

/*@lie*/

#include "net_weights.h"

/* What the code assumes of the compiler; compilation stops where it does not hold.
 *  - right shift of a negative value copies the sign (C99 6.5.7p5 leaves it open)
 *  - exact-width types of 8, 16 and 32 bits exist
 *  - int has 16 bits at least, as C99 5.2.4.2.1 has it; an option of AVR compilers takes it 8
 *  - conversion to a narrower or signed type keeps the bits that fit (C99 6.3.1.3p3)
 * No accumulator overflows, whatever the input and the state: net_weights.h carries
 * the proof.
 * Deviations of the emitted C from the rules of MISRA C:2012, as cppcheck reports them:
 *  - 2.3, 20.10: a type that nothing uses is a check at compile time
 *  - 2.5: macros are for firmware, for other cores, or for what is not compiled in
 *  - 2.7: parameters of assembler are in registers
 *  - 8.7: functions are for firmware
 *  - 8.9: constants stand at file scope, for a section of their own
 *  - 10.1: shifts of signed values, under these checks
 *  - 10.2: a digit is '0' and a number
 *  - 10.4, 10.5, 10.6, 10.7, 10.8: sizes without suffix, and sums, products and shifts that are
 *    proven to fit
 *  - 12.1: a product binds before a sum or a comparison
 *  - 12.3, 14.2, 15.5, 17.8: loops and returns as short as cores run them best
 *  - 13.3, 18.4: pointers walk through rows
 *  - 20.7: parts of assembler are no expressions
 *  - 21.6: the self-test and the board file print, unless told not to */
#define NET_CHECK(name, condition) typedef char net_check_##name[(condition) ? 1 : -1]

NET_CHECK(int_has_16_bits, sizeof(int) >= sizeof(int16_t));
NET_CHECK(shift_copies_the_sign, ((int32_t)-3 >> 1) == (int32_t)-2);
NET_CHECK(conversion_keeps_the_bits, (int8_t)(uint8_t)0x80U == INT8_MIN && (int32_t)UINT32_C(0x80000000) == INT32_MIN
    && (int16_t)INT32_C(0x18000) == INT16_MIN);
NET_CHECK(source_and_header_belong_together, NET_ID == 0x@ID@UL);
NET_CHECK(weights_and_header_belong_together, NET_ID == NET_WEIGHTS_ID);
/*@checks*/
#if NET_USES_SCALE == 1
#if defined(NET_KERNEL_AVR)
/* gate * v. */
static NET_INSIDE int32_t net_product(uint16_t gate, int16_t v)
{
    const uint8_t zero = 0;
    int32_t product;

    __asm("mul %A1, %A2\n\t"
          "movw %A0, r0\n\t"
          "mulsu %B2, %B1\n\t"
          "movw %C0, r0\n\t"
          "mul %B1, %A2\n\t"
          "add %B0, r0\n\t"
          "adc %C0, r1\n\t"
          "adc %D0, %3\n\t"
          "mulsu %B2, %A1\n\t"
          "sbc %D0, %3\n\t"
          "add %B0, r0\n\t"
          "adc %C0, r1\n\t"
          "adc %D0, %3\n\t"
          "clr r1" : "=&r"(product) : "a"(gate), "a"(v), "r"(zero) : "r0");
    return product;
}
#endif

#endif
#if NET_USES_TABLE == 1
#if defined(NET_KERNEL_AVR)
/* a * b / 2^8 rounded to nearest, halves upwards. */
static NET_INSIDE uint16_t net_mul_Q8(uint16_t a, uint8_t b)
{
    uint16_t product;
    uint8_t low;

    __asm("mul %A2, %3\n\t"
          "mov %1, r0\n\t"
          "mov %A0, r1\n\t"
          "mul %B2, %3\n\t"
          "clr %B0\n\t"
          "add %A0, r0\n\t"
          "adc %B0, r1\n\t"
          "lsl %1\n\t"
          "clr r1\n\t"
          "adc %A0, r1\n\t"
          "adc %B0, r1" : "=&r"(product), "=&r"(low) : "r"(a), "r"(b) : "r0");
    return product;
}
#endif

/* v / 2^shift rounded to nearest, halves upwards.
 * 1 <= shift <= 30, and v + 2^(shift-1) fits 32 bits. */
static NET_INSIDE int32_t net_round_shift(int32_t v, uint8_t shift)
{
    return (v + ((int32_t)1 << (shift - 1))) >> shift;
}
#endif

/* v limited to the range of int16. */
static NET_INSIDE int_fast16_t net_sat16(int32_t v)
{
#if defined(__ARM_FEATURE_SAT) && defined(__GNUC__)
    return (int_fast16_t)__builtin_arm_ssat(v, 16); /* __ssat of arm_acle.h draws a conversion warning */
#else
    int32_t limited = v;

    if (v != (int32_t)(int16_t)v) {
        limited = (v >> 31) ^ INT32_C(32767);
    }
    return (int_fast16_t)limited;
#endif
}

#if NET_USES_ADD == 1
/* a + b, limited to the range of int16, in which both are. */
static NET_INSIDE int_fast16_t net_add(int_fast16_t a, int_fast16_t b)
{
#if defined(NET_KERNEL_AVR)
    int16_t sum = (int16_t)a;

    __asm("add %A0, %A1\n\t"
          "adc %B0, %B1\n\t"
          "brvc 2f\n\t"
          "brmi 1f\n\t"
          "ldi %A0, 0x00\n\t"
          "ldi %B0, 0x80\n\t"
          "rjmp 2f\n"
          "1:\n\t"
          "ldi %A0, 0xFF\n\t"
          "ldi %B0, 0x7F\n"
          "2:" : "+d"(sum) : "r"(b));
    return sum;
#else
    return net_sat16((int32_t)a + (int32_t)b);
#endif
}
#endif

#if NET_USES_TABLE == 1
/* v limited to bits bits, 9..14. */
static NET_INSIDE uint_fast16_t net_at_most(uint_fast16_t v, uint8_t bits)
{
#if defined(__ARM_FEATURE_SAT) && defined(__GNUC__)
    uint_fast16_t limited;

    switch (bits) { /* the instruction needs a constant */
    case 9:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 9);
        break;
    case 10:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 10);
        break;
    case 11:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 11);
        break;
    case 12:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 12);
        break;
    case 13:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 13);
        break;
    default:
        limited = (uint_fast16_t)__builtin_arm_usat((int32_t)v, 14);
        break;
    }
    return limited;
#else
    const uint_fast16_t end = (uint_fast16_t)((1UL << bits) - 1UL);

    return (v > end) ? end : v;
#endif
}

/* tanh(v / 2^(shift+5)) with 15 fraction bits: table of tanh(i/32), linear
 * interpolation, odd. |v| <= 32768, 1 <= shift <= 8. Worst error: see net_weights.h. */
static NET_INSIDE int_fast16_t net_tanh_Q15(int_fast16_t v, uint8_t shift)
{
    const int_fast16_t sign = v >> 15; /* 0 or -1 */
    uint_fast16_t magnitude = (uint_fast16_t)(v ^ sign) - (uint_fast16_t)sign;
    const uint16_t *node;
#if defined(NET_KERNEL_AVR)
    uint16_t place;
#endif
    int_fast16_t low;
    int_fast16_t rise;
    int_fast16_t value;

    if (shift < 7U) { /* else the table reaches as far as v */
        magnitude = net_at_most(magnitude, (uint8_t)(shift + 8U));
    }
#if defined(NET_KERNEL_AVR)
    /* Whole bytes: the place with 8 fraction bits, where it fits. */
    place = (uint16_t)(magnitude << (8U - shift));
    node = &net_tanh_table[((shift == 7U) && (magnitude > (uint_fast16_t)INT16_MAX)) ? 256U : (place >> 8)];
    low = (int_fast16_t)NET_ROM_U16(&node[0]);
    rise = (int_fast16_t)NET_ROM_U16(&node[1]) - low;
    value = low + (int_fast16_t)net_mul_Q8((uint16_t)rise, (uint8_t)place);
#else
    node = &net_tanh_table[magnitude >> shift];
    low = (int_fast16_t)NET_ROM_U16(&node[0]);
    rise = (int_fast16_t)NET_ROM_U16(&node[1]) - low;
    value = low + (int_fast16_t)net_round_shift((int32_t)rise * (int32_t)(magnitude & ((1U << shift) - 1U)), shift);
#endif
    return (value ^ sign) - sign;
}
#endif

#if NET_USES_LOGISTIC == 1
/* 1/(1+exp(-v / 2^(shift+5))) with 16 fraction bits, 1..65535, as
 * (1 + tanh(v/2))/2. |v| <= 32768, 1 <= shift <= 7. */
static NET_INSIDE uint_fast16_t net_logistic_Q16(int_fast16_t v, uint8_t shift)
{
    return UINT16_C(32768) + (uint_fast16_t)net_tanh_Q15(v, (uint8_t)(shift + 1U));
}
#endif

#if NET_USES_SCALE == 1
/* gate * v with the fraction bits of v; gate has 16, 1..65535. |v| <= 32768. */
static NET_INSIDE int_fast16_t net_scale_Q16(uint_fast16_t gate_Q16, int_fast16_t v)
{
#if defined(NET_KERNEL_AVR)
    return (int_fast16_t)((net_product(gate_Q16, v) + INT32_C(32768)) >> 16);
#else
    return (int_fast16_t)net_round_shift((int32_t)gate_Q16 * (int32_t)v, 16);
#endif
}
#endif

#if NET_USES_MUL == 1
/* v * gate; gate has 16 fraction bits, 0..65535. The product of 32 and 16 bits
 * is taken in two halves. */
static NET_INSIDE int32_t net_mul_Q16(int32_t v, uint_fast16_t gate_Q16)
{
    const uint32_t low = (uint32_t)v & UINT32_C(0xFFFF);

    return ((v >> 16) * (int32_t)gate_Q16) + (int32_t)(((low * (uint32_t)gate_Q16) + UINT32_C(32768)) >> 16);
}
#endif

#if NET_USES_NARROW == 1
/* A wide state limited to +-2^30, which every step keeps it in: a state from
 * elsewhere (not reset, damaged) cannot overflow a sum either. */
static NET_INSIDE int32_t net_limit_Q30(int32_t v)
{
    const int32_t limit = INT32_C(1) << 30;
    int32_t limited = v;

    if (v > limit) {
        limited = limit;
    } else if (v < -limit) {
        limited = -limit;
    } else {
        /* v is within */
    }
    return limited;
}

/* 16-bit view of a wide value, shift fraction bits fewer. */
static NET_INSIDE int_fast16_t net_narrow(int32_t v, uint8_t shift)
{
    return net_sat16(net_round_shift(v, shift));
}
#endif

#if NET_USES_BLEND16 == 1
/* New state: keep * old + (1 - keep) * candidate, 15 fraction bits.
 * keep has 16 fraction bits, 1..65535; |old|, |candidate| <= 32767. */
static NET_INSIDE int_fast16_t net_blend_Q15(uint_fast16_t keep_Q16, int16_t old_Q15, int_fast16_t candidate_Q15)
{
#if defined(NET_KERNEL_AVR)
    /* keep * (old - candidate) needs one bit more than there are; the sum has them again. */
    const uint32_t part = (uint32_t)net_product(keep_Q16, old_Q15) - (uint32_t)net_product(keep_Q16, candidate_Q15);

    return (int_fast16_t)((int16_t)((part + UINT32_C(32768)) >> 16) + candidate_Q15);
#else
    const int32_t keep = (int32_t)keep_Q16;
    const int32_t sum = (keep * old_Q15) + ((INT32_C(65536) - keep) * (int32_t)candidate_Q15);

    return (int_fast16_t)net_round_shift(sum, 16);
#endif
}
#endif

#if NET_USES_BLEND32 == 1
/* New state: old + (1 - keep)(candidate - old), 30 fraction bits, |old| <= 2^30.
 * keep has 16 fraction bits, 1..65535. */
static NET_INSIDE int32_t net_blend_Q30(uint_fast16_t keep_Q16, int32_t old_Q30, int_fast16_t candidate_Q15)
{
    const int32_t difference = ((int32_t)candidate_Q15 * INT32_C(32768)) - old_Q30;

    return old_Q30 + net_mul_Q16(difference, (uint_fast16_t)(UINT32_C(65536) - (uint32_t)keep_Q16));
}
#endif

#if NET_USES_CELL16 == 1
/* New cell: keep * old + add * candidate, saturated. shift: from 15 fraction
 * bits to those of the cell, 1..14. */
static NET_INSIDE int_fast16_t net_cell16(uint_fast16_t keep_Q16, int16_t old, uint_fast16_t add_Q16, int_fast16_t candidate_Q15, uint8_t shift)
{
    const int32_t kept = (int32_t)net_scale_Q16(keep_Q16, old);

    return net_sat16(kept + net_round_shift((int32_t)net_scale_Q16(add_Q16, candidate_Q15), shift));
}
#endif

#if NET_USES_CELL32 == 1
/* New cell: keep * old + add * candidate, limited to +-2^30. shift: from 31
 * fraction bits to those of the cell, 1..16. */
static NET_INSIDE int32_t net_cell32(uint_fast16_t keep_Q16, int32_t old, uint_fast16_t add_Q16, int_fast16_t candidate_Q15, uint8_t shift)
{
    const int32_t kept = net_mul_Q16(net_limit_Q30(old), keep_Q16);

    return net_limit_Q30(kept + net_round_shift((int32_t)add_Q16 * (int32_t)candidate_Q15, shift));
}
#endif

/*@layers*/
/*@step*/
/* Lies with the weights. */
static const uint32_t net_id_word NET_ROM = NET_ID;

/* Read where it lies, which volatile says: a compiler would put the number in its place. */
uint32_t net_id(void)
{
    return (uint32_t)NET_ROM_I32((const volatile uint32_t *)&net_id_word);
}

#if defined(NET_WITH_RETAINED) || defined(NET_WITH_CHECK)
/* CRC-32 of IEEE 802.3 with one more byte: it begins with all ones and is inverted at the end.
 * Without a table: a few states of some hundred bytes are no reason to spend flash on one. */
static uint32_t net_crc32(uint32_t crc, uint8_t byte)
{
    uint32_t sum = crc ^ byte;
    uint8_t bit;

    for (bit = 0; bit < 8U; bit++) {
        sum = ((sum & 1U) != 0U) ? ((sum >> 1) ^ UINT32_C(0xEDB88320)) : (sum >> 1);
    }
    return sum;
}

#endif
#ifdef NET_WITH_RETAINED
/* CRC-32 of what stands before the CRC. */
static uint32_t net_retained_crc(const net_retained *r)
{
    const uint8_t *byte = (const uint8_t *)r;
    uint32_t crc = UINT32_MAX;
    uint16_t left;

    for (left = (uint16_t)offsetof(net_retained, crc); left > 0U; left--) {
        crc = net_crc32(crc, *byte);
        byte++;
    }
    return ~crc;
}

void net_retain(net_retained *r, const net_state *s)
{
    r->id = net_id();
    r->state = *s;
    r->crc = net_retained_crc(r);
}

uint8_t net_restore(const net_retained *r, net_state *s)
{
    const uint8_t intact = ((r->id == net_id()) && (r->crc == net_retained_crc(r))) ? 1U : 0U;

    if (intact != 0U) {
        *s = r->state;
    } else {
        net_reset(s);
    }
    return intact;
}

#endif
#ifdef NET_WITH_CHECK
/*@check*/
uint8_t net_check(void)
{
    const uint32_t format = net_check_word(0);
    const uint32_t crc = net_check_word(1);
    uint32_t seal = net_crc32_of(UINT32_MAX, net_id(), 4U);
    uint8_t result = 0;

    seal = net_crc32_of(seal, format, 4U);
    seal = net_crc32_of(seal, crc, 4U);
    if (~seal != net_check_word(2)) {
        result = 1;
    } else if (format != NET_FORMAT_HASH) {
        result = 2;
    } else if ((net_values_crc() != crc) || (net_filled() == 0U)) {
        result = 3;
    } else {
        /* they belong together */
    }
    return result;
}

#endif
#if NET_CLASSES == 1
uint16_t net_class(const int32_t y[NET_N_OUTPUTS])
{
    uint16_t best = 0;
    uint16_t c;

    for (c = 1; c < NET_N_OUTPUTS; c++) {
        if (y[c] > y[best]) {
            best = c;
        }
    }
    return best;
}

#endif
#if NET_FRONT == 0
#ifdef NET_WITH_ENCODE_ONE
/*@scaling*/

/*@scales*/

/*@scaled*/

/*@value*/
int16_t net_encode_one(uint16_t feature, int32_t value)
{
    return (feature < NET_N_FEATURES) ? net_scaled_value(value, &net_scales[feature]) : 0;
}
#endif

#endif
#ifdef NET_WITH_FLOAT
#if defined(__FAST_MATH__) || (defined(__FINITE_MATH_ONLY__) && (__FINITE_MATH_ONLY__ != 0))
#error "net_encode recognises NaN: compile this file without fast-math options"
#endif

/* One feature of net_encode; *outside is 1 where the value has no x, else 0. In float32
 * throughout. A compiler that fuses multiply and add, or computes in a wider format, may give an
 * integer that differs by 1. */
static int16_t net_encoded(uint16_t feature, float physical, uint8_t *outside)
{
    const float v = (physical - NET_ROM_F32(&net_mean[feature])) * NET_ROM_F32(&net_factor[feature]);
    int16_t x = 0; /* of NaN */

    *outside = 0;
    if (v != v) {
        *outside = 1;
    } else if (v >= 32767.0f) {
        x = INT16_MAX;
        *outside = 1;
    } else if (v <= -32768.0f) {
        x = INT16_MIN;
        *outside = 1;
    } else if (v >= 0.0f) {
        x = (int16_t)(v + 0.5f);
    } else {
        x = (int16_t)-(int32_t)(0.5f - v);
    }
    return x;
}

void net_encode(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES])
{
    uint8_t outside;
    uint16_t i;

    for (i = 0; i < NET_N_FEATURES; i++) {
        x[i] = net_encoded(i, physical[i], &outside);
    }
}

uint16_t net_encode_checked(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES],
                            uint8_t mask[NET_MASK_BYTES])
{
    uint16_t count = 0;
    uint16_t i;

    for (i = 0; i < NET_MASK_BYTES; i++) {
        mask[i] = 0;
    }
    for (i = 0; i < NET_N_FEATURES; i++) {
        uint8_t outside;

        x[i] = net_encoded(i, physical[i], &outside);
        count = (uint16_t)(count + outside);
        mask[i / 8U] = (uint8_t)(mask[i / 8U] | (uint8_t)((uint32_t)outside << (i % 8U)));
    }
    return count;
}

void net_decode(const int32_t y[NET_N_OUTPUTS], float physical[NET_N_OUTPUTS])
{
    uint16_t o;

    for (o = 0; o < NET_N_OUTPUTS; o++) {
        physical[o] = (float)y[o] * NET_ROM_F32(&net_step_of_y[o]);
    }
}
#endif
