/* Test driver: reads steps (reset flag, then the features, int16 little-endian)
 * from stdin and writes the outputs (int32 little-endian) of the emitted C. */
#include <stdio.h>

#include "leakair.h"

int main(void)
{
    leakair_state state;
    int16_t in[1 + LEAKAIR_N_FEATURES];
    int32_t y[LEAKAIR_N_OUTPUTS];

    leakair_reset(&state);
    while (fread(in, sizeof in, 1, stdin) == 1) {
        if (in[0] != 0) {
            leakair_reset(&state);
        }
        leakair_step(&state, &in[1], y);
        if (fwrite(y, sizeof y, 1, stdout) != 1) {
            return 1;
        }
    }
    return 0;
}
