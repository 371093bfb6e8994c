#if ROWS_COMMON == 1
#if ROWS_BITS == 4
/* Two columns of four rows. */
#define NET_TILE_W4 \
    "ldrsh r7, [r1, #4*\\k]\n" \
    "ldr r8, [r2, #4*\\k]\n" \
    "sbfx r10, r8, #0, #4\n" \
    "mla r3, r10, r7, r3\n" \
    "sbfx r10, r8, #4, #4\n" \
    "mla r4, r10, r7, r4\n" \
    "sbfx r10, r8, #8, #4\n" \
    "mla r5, r10, r7, r5\n" \
    "sbfx r10, r8, #12, #4\n" \
    "mla r6, r10, r7, r6\n" \
    "ldrsh r7, [r1, #4*\\k+2]\n" \
    "sbfx r10, r8, #16, #4\n" \
    "mla r3, r10, r7, r3\n" \
    "sbfx r10, r8, #20, #4\n" \
    "mla r4, r10, r7, r4\n" \
    "sbfx r10, r8, #24, #4\n" \
    "mla r5, r10, r7, r5\n" \
    "asr r10, r8, #28\n" \
    "mla r6, r10, r7, r6\n"
#endif
#if ROWS_BITS == 8
/* A column of four rows, at offsets x of the input and w of the weights. */
#define NET_COLUMN_W8(x, w) \
    "ldrsh r7, [r1, #4*\\k+" x "]\n" \
    "ldrsb r8, [r2, #8*\\k+" w "]\n" \
    "ldrsb r10, [r2, #8*\\k+" w "+1]\n" \
    "ldrsb r11, [r2, #8*\\k+" w "+2]\n" \
    "ldrsb r12, [r2, #8*\\k+" w "+3]\n" \
    "mla r3, r8, r7, r3\n" \
    "mla r4, r10, r7, r4\n" \
    "mla r5, r11, r7, r5\n" \
    "mla r6, r12, r7, r6\n"
#define NET_TILE_W8 NET_COLUMN_W8("0", "0") NET_COLUMN_W8("2", "4")
#endif
#if ROWS_BITS == 16
/* A column of four rows, at offsets x of the input and w of the weights. */
#define NET_COLUMN_W16(x, w) \
    "ldrsh r7, [r1, #4*\\k+" x "]\n" \
    "ldrsh r8, [r2, #16*\\k+" w "]\n" \
    "ldrsh r10, [r2, #16*\\k+" w "+2]\n" \
    "ldrsh r11, [r2, #16*\\k+" w "+4]\n" \
    "ldrsh r12, [r2, #16*\\k+" w "+6]\n" \
    "mla r3, r8, r7, r3\n" \
    "mla r4, r10, r7, r4\n" \
    "mla r5, r11, r7, r5\n" \
    "mla r6, r12, r7, r6\n"
#define NET_TILE_W16 NET_COLUMN_W16("0", "0") NET_COLUMN_W16("2", "8")
#endif
#else
/* r0 results, r1 v, r2 group, lr the number of groups in its low half; sums of the four rows in r3
 * to r6. */
static NET_KERNEL ROWS_NAME(ROWS_RESULT *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const ROWS_GROUP *group NET_UNUSED, uint32_t groups NET_UNUSED ROWS_RAISED)
{
    __asm volatile(
        ".syntax unified\n"
        "push {r4-r8, r10, r11, lr}\n"
        "mov lr, r3\n"
        "1:\n"
        "ldmia r2!, {r3-r6}\n"
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
#if ROWS_SUMS == 1
        "add r2, r2, #ROWS_TILE_BYTES*ROWS_REST+4\n"
        "stmia r0!, {r3-r6}\n"
#else
        "ldr r10, [r2, #ROWS_TILE_BYTES*ROWS_REST]\n"
        "add r2, r2, #ROWS_TILE_BYTES*ROWS_REST+4\n"
        "asr r3, r3, r10\n"
        "lsr r11, r10, #8\n"
        "asr r4, r4, r11\n"
        "lsr r11, r10, #16\n"
        "asr r5, r5, r11\n"
        "lsr r11, r10, #24\n"
        "asr r6, r6, r11\n"
        "ssat r3, #16, r3\n"
        "ssat r4, #16, r4\n"
        "ssat r5, #16, r5\n"
        "ssat r6, #16, r6\n"
        "strh r3, [r0], #2\n"
        "strh r4, [r0], #2\n"
        "strh r5, [r0], #2\n"
        "strh r6, [r0], #2\n"
#endif
        "subs lr, lr, #1\n"
        "bne 1b\n"
        "pop {r4-r8, r10, r11, pc}\n"
    );
}
#endif
