#if ROWS_COMMON == 1
#if ROWS_BITS == 4
/* A row of a column; bits: by how much its weight is shifted up to the sign. */
#define NET_ROW_W4(add, bits) \
    "lsls r4, r3, #" bits "\n" \
    "asrs r4, r4, #28\n" \
    "muls r4, r2, r4\n" \
    add ", r4\n"
/* Two columns of four rows. */
#define NET_TILE_W4 \
    "ldmia r1!, {r2}\n" \
    "mov r12, r2\n" \
    "ldr r3, [r0, #4*\\k]\n" \
    "sxth r2, r2\n" \
    NET_ROW_W4("add r8", "28") NET_ROW_W4("adds r5, r5", "24") \
    NET_ROW_W4("adds r6, r6", "20") NET_ROW_W4("adds r7, r7", "16") \
    "mov r2, r12\n" \
    "asrs r2, r2, #16\n" \
    NET_ROW_W4("add r8", "12") NET_ROW_W4("adds r5, r5", "8") \
    NET_ROW_W4("adds r6, r6", "4") \
    "asrs r4, r3, #28\n" \
    "muls r4, r2, r4\n" \
    "adds r7, r7, r4\n"
#endif
#if ROWS_BITS == 8
/* A row of a column; w: offset of its weight, x: register of the input. */
#define NET_ROW_W8(add, w, x) \
    "ldrb r4, [r0, #8*\\k+" w "]\n" \
    "muls r4, " x ", r4\n" \
    add ", r4\n"
/* Two columns of four rows. */
#define NET_TILE_W8 \
    "ldmia r1!, {r2}\n" \
    "asrs r3, r2, #16\n" \
    "sxth r2, r2\n" \
    NET_ROW_W8("add r8", "0", "r2") NET_ROW_W8("adds r5, r5", "1", "r2") \
    NET_ROW_W8("adds r6, r6", "2", "r2") NET_ROW_W8("adds r7, r7", "3", "r2") \
    NET_ROW_W8("add r8", "4", "r3") NET_ROW_W8("adds r5, r5", "5", "r3") \
    NET_ROW_W8("adds r6, r6", "6", "r3") NET_ROW_W8("adds r7, r7", "7", "r3")
#endif
#if ROWS_BITS == 16
/* A row of a column; w: offset of its weight, x: register of the input. */
#define NET_ROW_W16(add, w, x) \
    "ldrh r4, [r0, #16*\\k+" w "]\n" \
    "muls r4, " x ", r4\n" \
    add ", r4\n"
/* Two columns of four rows. */
#define NET_TILE_W16 \
    "ldmia r1!, {r2}\n" \
    "asrs r3, r2, #16\n" \
    "sxth r2, r2\n" \
    NET_ROW_W16("add r8", "0", "r2") NET_ROW_W16("adds r5, r5", "2", "r2") \
    NET_ROW_W16("adds r6, r6", "4", "r2") NET_ROW_W16("adds r7, r7", "6", "r2") \
    NET_ROW_W16("add r8", "8", "r3") NET_ROW_W16("adds r5, r5", "10", "r3") \
    NET_ROW_W16("adds r6, r6", "12", "r3") NET_ROW_W16("adds r7, r7", "14", "r3")
#endif
#if ROWS_SUMS == 0
/* A result limited to int16, to r1. */
#define NET_ROW_END(sum, row, far, near) \
    "sxth r2, " sum "\n" \
    "cmp r2, " sum "\n" \
    "bne " far "f\n" \
    near ":\n" \
    "strh r2, [r1, #2*" row "]\n"
#define NET_ROW_FAR(sum, far, near) \
    far ":\n" \
    "movs r3, #1\n" \
    "lsls r3, r3, #15\n" \
    "subs r3, r3, #1\n" \
    "asrs r2, " sum ", #31\n" \
    "eors r2, r2, r3\n" \
    "b " near "b\n"
#endif
#else
/* r0 group, r1 v, lr results, r10 begin of v, r11 groups that are left, r12 or [sp, 12] the end of
 * the columns that are read in a loop; sums of the four rows in r8, r5, r6, r7. */
static NET_KERNEL ROWS_NAME(ROWS_RESULT *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const ROWS_GROUP *group NET_UNUSED, uint32_t groups NET_UNUSED ROWS_RAISED)
{
    __asm volatile(
        ".syntax unified\n"
        "push {r3-r7, lr}\n"
        "mov r4, r8\n"
        "mov r5, r10\n"
        "mov r6, r11\n"
        "push {r4-r6}\n"
        "mov lr, r0\n"
        "mov r10, r1\n"
        "mov r11, r3\n"
        "mov r0, r2\n"
#if ROWS_LOOPED == 1
#if ROWS_FAR == 1
        "movs r4, #ROWS_EACH*ROWS_TURNS/256\n"
        "lsls r4, r4, #8\n"
        "adds r4, #ROWS_EACH*ROWS_TURNS%256\n"
#else
        "movs r4, #ROWS_EACH*ROWS_TURNS\n"
#endif
        "lsls r4, r4, #2\n"
        "adds r4, r4, r1\n"
#if ROWS_BITS == 4
        "str r4, [sp, #12]\n"
#else
        "mov r12, r4\n"
#endif
#endif
        "1:\n"
        "ldmia r0!, {r4-r7}\n"
#if ROWS_BITS == 4
        "mov r8, r4\n"
#else
        "ldr r1, [sp, #36]\n"
        "subs r4, r4, r1\n"
        "mov r8, r4\n"
        "subs r5, r5, r1\n"
        "subs r6, r6, r1\n"
        "subs r7, r7, r1\n"
#endif
        "mov r1, r10\n"
#if ROWS_LOOPED == 1
        "2:\n"
        ".irp k, ROWS_EACH_LIST\n"
        ROWS_TILE
        ".endr\n"
        "adds r0, #ROWS_TILE_BYTES*ROWS_EACH\n"
#if ROWS_BITS == 4
        "ldr r4, [sp, #12]\n"
        "cmp r1, r4\n"
#else
        "cmp r1, r12\n"
#endif
        "bne 2b\n"
#endif
#if ROWS_HAS_REST == 1
        ".irp k, ROWS_REST_LIST\n"
        ROWS_TILE
        ".endr\n"
        "adds r0, #ROWS_TILE_BYTES*ROWS_REST\n"
#endif
        "mov r1, lr\n"
        "mov r4, r8\n"
#if ROWS_SUMS == 1
        "stmia r1!, {r4-r7}\n"
#else
        "ldr r3, [r0]\n"
        "asrs r4, r4, r3\n"
        "lsrs r3, r3, #8\n"
        "asrs r5, r5, r3\n"
        "lsrs r3, r3, #8\n"
        "asrs r6, r6, r3\n"
        "lsrs r3, r3, #8\n"
        "asrs r7, r7, r3\n"
        NET_ROW_END("r4", "0", "10", "20") NET_ROW_END("r5", "1", "11", "21")
        NET_ROW_END("r6", "2", "12", "22") NET_ROW_END("r7", "3", "13", "23")
        "adds r1, #8\n"
#endif
        "adds r0, #4\n"
        "mov lr, r1\n"
        "mov r1, r11\n"
        "subs r1, #1\n"
        "mov r11, r1\n"
        "beq 4f\n"
        "b 1b\n"
        "4:\n"
        "pop {r4-r6}\n"
        "mov r8, r4\n"
        "mov r10, r5\n"
        "mov r11, r6\n"
        "pop {r3-r7, pc}\n"
#if ROWS_SUMS == 0
        NET_ROW_FAR("r4", "10", "20") NET_ROW_FAR("r5", "11", "21")
        NET_ROW_FAR("r6", "12", "22") NET_ROW_FAR("r7", "13", "23")
#endif
    );
}
#endif
