#if ROWS_BITS == 4
/* Two columns of four rows; r5 holds the mask 0x000F000F. */
#define NET_TILE_W4 \
    "ldr r10, [r1, #4*\\k]\n" \
    "ldr r11, [r2, #4*\\k]\n" \
    "and r12, r5, r11\n" \
    "smlad r3, r12, r10, r3\n" \
    "and r12, r5, r11, lsr #4\n" \
    "smlad r4, r12, r10, r4\n" \
    "and r12, r5, r11, lsr #8\n" \
    "smlad r6, r12, r10, r6\n" \
    "and r12, r5, r11, lsr #12\n" \
    "smlad r7, r12, r10, r7\n"
#endif
#if ROWS_BITS == 8
/* Two columns of four rows. r5:r4 and r8:r7 add up (first + 256 * second) * input over a pair of
 * rows, r3 and r6 the first row alone; the second is the difference / 256. */
#define NET_TILE_W8 \
    "ldr r10, [r1, #4*\\k]\n" \
    "ldr r11, [r2, #8*\\k]\n" \
    "ldr r12, [r2, #8*\\k+4]\n" \
    "smlald r4, r5, r11, r10\n" \
    "sxtb16 r11, r11\n" \
    "smlad r3, r11, r10, r3\n" \
    "smlald r7, r8, r12, r10\n" \
    "sxtb16 r12, r12\n" \
    "smlad r6, r12, r10, r6\n"
#endif
#if ROWS_BITS == 16
/* Two columns of four rows. */
#define NET_TILE_W16 \
    "ldr r10, [r1, #4*\\k]\n" \
    "ldr r11, [r2, #16*\\k]\n" \
    "ldr r12, [r2, #16*\\k+4]\n" \
    "ldr r5, [r2, #16*\\k+8]\n" \
    "ldr r8, [r2, #16*\\k+12]\n" \
    "smlad r3, r11, r10, r3\n" \
    "smlad r4, r12, r10, r4\n" \
    "smlad r6, r5, r10, r6\n" \
    "smlad r7, r8, r10, r7\n"
#endif
