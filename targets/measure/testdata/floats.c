/* y[0] = x[0] * x[1]. It faults where the start code leaves the floating-point unit off. */
#include "floats.h"

void floats_reset(floats_state *s)
{
    s->used[0] = 0;
}

__attribute__((naked)) void floats_step(floats_state *s, const float x[FLOATS_N_FEATURES],
                                        float y[FLOATS_N_OUTPUTS])
{
    __asm volatile(
        "vldr s14, [r1]\n"          /* 2 */
        "vldr s15, [r1, #4]\n"      /* 2 */
        "vmul.f32 s14, s14, s15\n"  /* 1 */
        "vstr s14, [r2]\n"          /* 2, and 1 because it needs the product at once */
        "bx lr\n");                 /* 3 */
}
