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
    return result;
}

#ifndef NET_SELFTEST_NO_STDIO
int main(void)
{
    if (net_selftest() != 0) {
        return 1;
    }
    (void)printf("%u steps, %u outputs each: every integer matches\n",
                 (unsigned)NET_VECTOR_STEPS, (unsigned)NET_N_OUTPUTS);
    return 0;
}
#endif
