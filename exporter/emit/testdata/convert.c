/* Test driver: encodes every step of physical features (float32) from stdin to
 * int16, then decodes three values for every output, all to stdout. */
#include <stdio.h>

#include "leakair.h"

int main(void)
{
    static const int32_t limits[3] = { INT32_MIN, 12345678, INT32_MAX };
    float physical[LEAKAIR_N_FEATURES];
    float decoded[LEAKAIR_N_OUTPUTS];
    int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
    int i;
    int o;

    while (fread(physical, sizeof physical, 1, stdin) == 1) {
        leakair_encode(physical, x);
        if (fwrite(x, sizeof x, 1, stdout) != 1) {
            return 1;
        }
    }
    for (i = 0; i < 3; i++) {
        for (o = 0; o < LEAKAIR_N_OUTPUTS; o++) {
            y[o] = limits[i];
        }
        leakair_decode(y, decoded);
        if (fwrite(decoded, sizeof decoded, 1, stdout) != 1) {
            return 1;
        }
    }
    return 0;
}
