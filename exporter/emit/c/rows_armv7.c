/* r0 results, r1 v, r2 group, lr the number of groups in its low half; sums of the four rows in
 * ROWS_FOUR_SUMS.
#if ROWS_DUAL == 4
 * r8 holds what raised weights add, r5 the mask of a tile.
#endif
#if ROWS_DUAL == 8
 * r5 and r8 hold the upper halves of sums of 64 bits.
#endif
 */
static NET_KERNEL ROWS_NAME(ROWS_RESULT *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const ROWS_GROUP *group NET_UNUSED, uint32_t groups NET_UNUSED ROWS_RAISED)
{
    __asm volatile(
        ".syntax unified\n"
        "push {r4-r8, r10, r11, lr}\n"
        "mov lr, r3\n"
#if ROWS_DUAL == 4
        "ldr r8, [sp, #32]\n"
        "mov r5, #0x000F000F\n"
#endif
        "1:\n"
        "ldmia r2!, ROWS_FOUR_SUMS\n"
#if ROWS_DUAL == 4
        "sub r3, r3, r8\n"
        "sub r4, r4, r8\n"
        "sub r6, r6, r8\n"
        "sub r7, r7, r8\n"
#endif
#if ROWS_DUAL == 8
        "asr r5, r4, #24\n"
        "adds r4, r3, r4, lsl #8\n"
        "adc r5, r5, r3, asr #31\n"
        "asr r8, r7, #24\n"
        "adds r7, r6, r7, lsl #8\n"
        "adc r8, r8, r6, asr #31\n"
#endif
#if ROWS_LOOPED == 1
        "orr lr, lr, #ROWS_TURNS<<16\n"
        "2:\n"
        ".irp k, ROWS_EACH_LIST\n"
        ROWS_TILE
        ".endr\n"
        "add r1, r1, #4*ROWS_EACH\n"
        "add r2, r2, #ROWS_TILE_BYTES*ROWS_EACH\n"
        "sub lr, lr, #65536\n"
        "cmp lr, #65536\n"
        "bhs 2b\n"
#endif
#if ROWS_HAS_REST == 1
        ".irp k, ROWS_REST_LIST\n"
        ROWS_TILE
        ".endr\n"
#endif
#if ROWS_LOOPED == 1
        "sub r1, r1, #4*ROWS_EACH*ROWS_TURNS\n"
#endif
#if ROWS_DUAL == 8
        "lsr r4, r4, #8\n"
        "orr r4, r4, r5, lsl #24\n"
        "sub r4, r4, r3, asr #8\n"
        "lsr r7, r7, #8\n"
        "orr r7, r7, r8, lsl #24\n"
        "sub r7, r7, r6, asr #8\n"
#endif
#if ROWS_SUMS == 1
        "add r2, r2, #ROWS_TILE_BYTES*ROWS_REST+4\n"
        "stmia r0!, ROWS_FOUR_SUMS\n"
#else
        "ldr r10, [r2, #ROWS_TILE_BYTES*ROWS_REST]\n"
        "add r2, r2, #ROWS_TILE_BYTES*ROWS_REST+4\n"
        "asr r3, r3, r10\n"
        "lsr r11, r10, #8\n"
        "asr r4, r4, r11\n"
        "lsr r11, r10, #16\n"
        "asr ROWS_SUM_2, ROWS_SUM_2, r11\n"
        "lsr r11, r10, #24\n"
        "asr ROWS_SUM_3, ROWS_SUM_3, r11\n"
        "ssat r3, #16, r3\n"
        "ssat r4, #16, r4\n"
        "ssat ROWS_SUM_2, #16, ROWS_SUM_2\n"
        "ssat ROWS_SUM_3, #16, ROWS_SUM_3\n"
        "strh r3, [r0], #2\n"
        "strh r4, [r0], #2\n"
        "strh ROWS_SUM_2, [r0], #2\n"
        "strh ROWS_SUM_3, [r0], #2\n"
#endif
        "subs lr, lr, #1\n"
        "bne 1b\n"
        "pop {r4-r8, r10, r11, pc}\n"
    );
}
