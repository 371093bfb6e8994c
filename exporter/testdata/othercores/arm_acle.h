/* Stand-in for tests on the host: the dual 16-bit operations of the Arm C
 * Language Extensions (ACLE), section "32-bit SIMD", in plain C for
 * little-endian. */
#include <stdint.h>

static inline int32_t low_half(int32_t v) { return (int16_t)(uint16_t)(uint32_t)v; }
static inline int32_t high_half(int32_t v) { return (int16_t)(uint16_t)((uint32_t)v >> 16); }
static inline int32_t halves(int32_t low, int32_t high)
{
    return (int32_t)(((uint32_t)high << 16) | ((uint32_t)low & 0xFFFFU));
}
static inline int32_t __smlad(int32_t a, int32_t b, int32_t sum)
{
    return sum + (low_half(a) * low_half(b)) + (high_half(a) * high_half(b));
}
static inline int32_t __sxtb16(int32_t v)
{
    return halves((int8_t)(uint8_t)(uint32_t)v, (int8_t)(uint8_t)((uint32_t)v >> 16));
}
static inline int32_t __ssub16(int32_t a, int32_t b)
{
    return halves(low_half(a) - low_half(b), high_half(a) - high_half(b));
}
