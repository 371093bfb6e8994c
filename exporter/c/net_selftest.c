/*@file*/
/* Replays the recorded vectors. Exit code 0: every integer matches. */
#include <stdio.h>

#include "net.h"
#include "net_vectors.h"

int net_selftest(void);

int net_selftest(void)
{
    net_state state;
    int32_t y[NET_N_OUTPUTS];
    unsigned step;
    unsigned o;

    net_reset(&state);
    for (step = 0; step < NET_VECTOR_STEPS; step++) {
        if (net_vector_reset[step] != 0U) {
            net_reset(&state);
        }
        net_step(&state, net_vector_x[step], y);
        for (o = 0; o < NET_N_OUTPUTS; o++) {
            if (y[o] != net_vector_y[step][o]) {
                printf("step %u, output %u: got %ld, expected %ld\n",
                       step, o, (long)y[o], (long)net_vector_y[step][o]);
                return 1;
            }
        }
    }
    printf("%u steps, %u outputs each: every integer matches\n",
           (unsigned)NET_VECTOR_STEPS, (unsigned)NET_N_OUTPUTS);
    return 0;
}

#ifndef NET_SELFTEST_NO_MAIN
int main(void)
{
    return net_selftest();
}
#endif
