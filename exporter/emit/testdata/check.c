/* Flips every bit of the constants that objects.h lists, one at a time, and lets leakair_check
 * look. Constants lie in RAM. With -DSELFTEST the self-test looks as well, as a comparison. */
#include "leakair.c"
#include <stdio.h>

static uint32_t flips;
static uint32_t found;
static uint32_t noticed;

static void flip(const volatile void *object, uint32_t bytes)
{
    volatile uint8_t *byte = (volatile uint8_t *)(uintptr_t)object;
    uint32_t i;

    for (i = 0; i < bytes; i++) {
        uint8_t bit;

        for (bit = 0; bit < 8U; bit++) {
            byte[i] = (uint8_t)(byte[i] ^ (1U << bit));
            flips++;
            found += (leakair_check() != 0U) ? 1U : 0U;
#ifdef SELFTEST
            noticed += (leakair_selftest() != 0) ? 1U : 0U;
#endif
            byte[i] = (uint8_t)(byte[i] ^ (1U << bit));
        }
    }
}

int main(void)
{
    static const char text[] = "123456789";
    uint32_t crc = UINT32_MAX;
    uint16_t i;

    for (i = 0; i < 9U; i++) {
        crc = leakair_crc32(crc, (uint8_t)text[i]);
    }
    printf("text %08lx\n", (unsigned long)~crc);
    printf("values %08lx\n", (unsigned long)leakair_values_crc());
    printf("before %u\n", leakair_check());
#define FLIP(object) flip(&(object), sizeof(object));
#include "objects.h"
    printf("after %u\n", leakair_check());
    printf("flips %lu\n", (unsigned long)flips);
    printf("found %lu\n", (unsigned long)found);
    printf("noticed %lu\n", (unsigned long)noticed);
    printf("finished\n");
    return 0;
}
