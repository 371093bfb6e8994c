/* Stand-in for tests on the host: the dual 16-bit operations of the Arm C
 * Language Extensions (ACLE), section "32-bit SIMD", in plain C for
 * little-endian. Sums wrap around, as in the instructions. */
#include <stdint.h>

static inline int32_t low_half(int32_t v) { return (int16_t)(uint16_t)(uint32_t)v; }
static inline int32_t high_half(int32_t v) { return (int16_t)(uint16_t)((uint32_t)v >> 16); }
static inline int32_t __smlad(int32_t a, int32_t b, int32_t sum)
{
    return (int32_t)((uint32_t)sum + (uint32_t)(low_half(a) * low_half(b)) + (uint32_t)(high_half(a) * high_half(b)));
}
static inline int64_t __smlald(int32_t a, int32_t b, int64_t sum)
{
    return sum + (int64_t)(low_half(a) * low_half(b)) + (int64_t)(high_half(a) * high_half(b));
}
static inline int32_t __sxtb16(int32_t v)
{
    return (int32_t)((uint32_t)(uint16_t)(int8_t)(uint8_t)(uint32_t)v | ((uint32_t)(uint16_t)(int8_t)(uint8_t)((uint32_t)v >> 16) << 16));
}
