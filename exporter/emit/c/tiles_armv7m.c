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
