/* Keeps a state, restores it, and flips every bit of what is kept: each must be refused. Prints
 * "refused" with the number of bits, or what is wrong. */
#include "leakair.c"
#include <stdio.h>

int main(void)
{
    static const char check[] = "123456789";
    static leakair_retained kept;
    static leakair_state state;
    static leakair_state restored;
    static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
    int32_t y[LEAKAIR_N_OUTPUTS];
    int32_t again[LEAKAIR_N_OUTPUTS];
    uint8_t *byte = (uint8_t *)&kept;
    uint32_t crc = UINT32_MAX;
    unsigned bits = 0;
    uint16_t i;
    uint8_t wrong = 0;

    for (i = 0; i < 9U; i++) {
        crc = leakair_crc32(crc, (uint8_t)check[i]);
    }
    /* Check value of CRC-32/ISO-HDLC, which IEEE 802.3 uses, in the CRC catalogue (G. Cook,
     * "Catalogue of parametrised CRC algorithms"); the number is that of the task. */
    if (~crc != UINT32_C(0xCBF43926)) {
        printf("crc %08lx\n", (unsigned long)~crc);
        wrong = 1;
    }
    if (leakair_restore(&kept, &restored) != 0U) { /* all zeros were never kept */
        printf("zeros are restored\n");
        wrong = 1;
    }
    leakair_reset(&state);
    for (i = 0; i < LEAKAIR_N_FEATURES; i++) {
        x[i] = (int16_t)(1000 + i);
    }
    for (i = 0; i < 5U; i++) {
        leakair_step(&state, x, y);
    }
    leakair_retain(&kept, &state);
    if (leakair_restore(&kept, &restored) != 1U) {
        printf("an intact state is refused\n");
        wrong = 1;
    }
    leakair_step(&state, x, y);
    leakair_step(&restored, x, again);
    for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
        wrong = (y[i] == again[i]) ? wrong : 1U;
    }
    for (i = 0; i < (uint16_t)sizeof(kept); i++) {
        uint8_t bit;

        for (bit = 0; bit < 8U; bit++) {
            byte[i] = (uint8_t)(byte[i] ^ (1U << bit));
            leakair_step(&restored, x, y);
            bits += (leakair_restore(&kept, &restored) == 0U) ? 1U : 0U;
            byte[i] = (uint8_t)(byte[i] ^ (1U << bit));
        }
    }
    leakair_reset(&state); /* what a refused state leaves */
    byte[0] = (uint8_t)(byte[0] ^ 1U);
    (void)leakair_restore(&kept, &restored);
    leakair_step(&state, x, y);
    leakair_step(&restored, x, again);
    for (i = 0; i < LEAKAIR_N_OUTPUTS; i++) {
        wrong = (y[i] == again[i]) ? wrong : 1U;
    }
    if ((wrong == 0U) && (bits == (8U * (unsigned)sizeof(kept)))) {
        printf("refused %u\n", bits);
    } else {
        printf("wrong, %u of %u refused\n", bits, 8U * (unsigned)sizeof(kept));
    }
    return 0;
}
