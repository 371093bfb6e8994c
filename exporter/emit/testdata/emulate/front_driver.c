/* Feeds codes that randomfront.Codes makes as well to the front end, and prints a hash of
 * the features of every window. BITS lists the bits of every channel. */
#include "leakair.h"
#include <stdio.h>

static uint32_t seed = SEED;

static uint32_t next(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 17;
    seed ^= seed << 5;
    return seed;
}

static const uint8_t bits[LEAKAIR_N_CHANNELS] = { BITS };
static leakair_front front;

int main(void)
{
    int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED = { 0 };
    uint32_t step;

    leakair_front_reset(&front);
    for (step = 0; step < STEPS; step++) {
        const uint32_t half = 1U + next() % LEAKAIR_WINDOW;
        const uint32_t level = next();
        uint32_t hash = UINT32_C(2166136261);
        uint16_t n;
        uint16_t c;
        uint16_t code[LEAKAIR_N_CHANNELS];

        for (n = 0; n < LEAKAIR_WINDOW; n++) {
            uint8_t result;

            for (c = 0; c < LEAKAIR_N_CHANNELS; c++) {
                const uint32_t most = (((uint32_t)1 << bits[c]) - 1U);
                uint32_t v = next() >> (32 - bits[c]);

                switch (step % 4U) {
                case 1:
                    v = ((((uint32_t)n + c) / half % 2U) == 0U) ? most : 0U;
                    break;
                case 2:
                    v = ((level >> (32 - bits[c])) + v % 3U) & most;
                    break;
                case 3:
                    v = (n * (level >> 20) + v % 5U) & most;
                    break;
                default:
                    break;
                }
                /* a code beyond the bits counts as the largest */
                code[c] = (uint16_t)((((step & 4U) != 0U) && (v == most)) ? 65535U : v);
            }
            result = leakair_sample(&front, code);
            if (result != ((n == LEAKAIR_WINDOW - 1) ? 1U : 0U)) {
                printf("sample %u of step %lu returned %u\n", (unsigned)n, (unsigned long)step, result);
                return 1;
            }
        }
        if (leakair_sample(&front, code) != 2U) {
            printf("step %lu: a full window took a sample\n", (unsigned long)step);
            return 1;
        }
        leakair_features(&front, x);
        for (n = 0; n < LEAKAIR_N_FEATURES; n++) {
            hash = (hash ^ ((uint16_t)x[n] & 255U)) * UINT32_C(16777619);
            hash = (hash ^ ((uint32_t)(uint16_t)x[n] >> 8)) * UINT32_C(16777619);
        }
        printf("hash %lx\n", (unsigned long)hash);
    }
    printf("finished\n");
    return 0;
}
