/* Test driver: encodes every int32 of stdin as the value of each feature, then every row of
 * float32 behind the count of integers, with what was outside. */
#include <stdio.h>

#include "leakair.h"

int main(void)
{
    float physical[LEAKAIR_N_FEATURES];
    int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    uint8_t mask[LEAKAIR_MASK_BYTES];
    uint32_t left;
    int32_t value;
    uint16_t i;

    if (fread(&left, sizeof left, 1, stdin) != 1) {
        return 1;
    }
    for (; left > 0U; left--) {
        if (fread(&value, sizeof value, 1, stdin) != 1) {
            return 1;
        }
        for (i = 0; i < LEAKAIR_N_FEATURES; i++) {
            x[i] = leakair_encode_one(i, value);
        }
        if (fwrite(x, sizeof x, 1, stdout) != 1) {
            return 1;
        }
    }
    while (fread(physical, sizeof physical, 1, stdin) == 1) {
        const uint16_t count = leakair_encode_checked(physical, x, mask);

        if ((fwrite(x, sizeof x, 1, stdout) != 1) || (fwrite(&count, sizeof count, 1, stdout) != 1) ||
            (fwrite(mask, sizeof mask, 1, stdout) != 1)) {
            return 1;
        }
    }
    return (leakair_encode_one(LEAKAIR_N_FEATURES, 1) == 0) ? 0 : 1;
}
