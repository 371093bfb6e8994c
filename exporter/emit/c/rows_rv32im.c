#if ROWS_COMMON == 1
#if ROWS_FIRST == 1
/* Macros of the assembler for groups of four rows. net_begin: biases of a group at p into its sums.
 * net_end: its results, sums >> shifts limited to int16, to a0; net_far: those that are limited. */
#define NET_GROUPS \
    ".macro net_begin p, s0, s1, s2, s3\n" \
    "lw \\s0, 0(\\p)\n" \
    "lw \\s1, 4(\\p)\n" \
    "lw \\s2, 8(\\p)\n" \
    "lw \\s3, 12(\\p)\n" \
    "addi \\p, \\p, 16\n" \
    ".endm\n" \
    ".macro net_row p, sum, row, label\n" \
    "lbu t2, \\row(\\p)\n" \
    "sra \\sum, \\sum, t2\n" \
    "slli t2, \\sum, 16\n" \
    "srai t2, t2, 16\n" \
    "bne t2, \\sum, 1\\label\\()f\n" \
    "2\\label:\n" \
    "sh t2, 2*\\row(a0)\n" \
    ".endm\n" \
    ".macro net_end p, s0, s1, s2, s3, n\n" \
    "net_row \\p, \\s0, 0, \\n\\()0\n" \
    "net_row \\p, \\s1, 1, \\n\\()1\n" \
    "net_row \\p, \\s2, 2, \\n\\()2\n" \
    "net_row \\p, \\s3, 3, \\n\\()3\n" \
    "addi a0, a0, 8\n" \
    ".endm\n" \
    ".macro net_far n, s0, s1, s2, s3\n" \
    "net_limit \\s0, \\n\\()0\n" \
    "net_limit \\s1, \\n\\()1\n" \
    "net_limit \\s2, \\n\\()2\n" \
    "net_limit \\s3, \\n\\()3\n" \
    ".endm\n" \
    ".macro net_limit sum, label\n" \
    "1\\label:\n" \
    "srai t2, \\sum, 31\n" \
    "xor t2, t2, a5\n" \
    "j 2\\label\\()b\n" \
    ".endm\n"
#define NET_NO_GROUPS \
    ".irp m, net_begin, net_row, net_end, net_far, net_limit, net_product, net_tile\n" \
    ".purgem \\m\n" \
    ".endr\n"
#endif
/* Two columns of a group at p; inputs in t0 and t1. */
#define NET_TILE_WROWS_BITS \
    ".macro net_product p, sum, x, w\n" \
#if ROWS_BITS == 4
    "slli t2, t5, \\w\n" \
    "srai t2, t2, 28\n" \
#endif
#if ROWS_BITS == 8
    "lb t2, \\w(\\p)\n" \
#endif
#if ROWS_BITS == 16
    "lh t2, 2*\\w(\\p)\n" \
#endif
    "mul t2, t2, \\x\n" \
    "add \\sum, \\sum, t2\n" \
    ".endm\n" \
    ".macro net_tile p, s0, s1, s2, s3\n" \
#if ROWS_BITS == 4
    "lw t5, 0(\\p)\n" \
    "net_product \\p, \\s0, t0, 28\n" \
    "net_product \\p, \\s1, t0, 24\n" \
    "net_product \\p, \\s2, t0, 20\n" \
    "net_product \\p, \\s3, t0, 16\n" \
    "net_product \\p, \\s0, t1, 12\n" \
    "net_product \\p, \\s1, t1, 8\n" \
    "net_product \\p, \\s2, t1, 4\n" \
    "net_product \\p, \\s3, t1, 0\n" \
    "addi \\p, \\p, 4\n" \
#else
    "net_product \\p, \\s0, t0, 0\n" \
    "net_product \\p, \\s1, t0, 1\n" \
    "net_product \\p, \\s2, t0, 2\n" \
    "net_product \\p, \\s3, t0, 3\n" \
    "net_product \\p, \\s0, t1, 4\n" \
    "net_product \\p, \\s1, t1, 5\n" \
    "net_product \\p, \\s2, t1, 6\n" \
    "net_product \\p, \\s3, t1, 7\n" \
    "addi \\p, \\p, ROWS_TILE_BYTES\n" \
#endif
    ".endm\n"
#else
#if ROWS_SUMS == 1
/* The sums of groups of four rows. a0 results, a1 v, a2 group, a3 groups, a4 bytes of v. */
static NET_KERNEL ROWS_NAME(int32_t *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const void *group NET_UNUSED, uint32_t groups NET_UNUSED, uint32_t bytes NET_UNUSED)
{
    __asm volatile(
        NET_GROUPS
        NET_TILE_WROWS_BITS
        "add a4, a4, a1\n"
        "1:\n"
        "net_begin a2, a5, a6, a7, t6\n"
        "mv t3, a1\n"
        "2:\n"
        "lh t0, 0(t3)\n"
        "lh t1, 2(t3)\n"
        "net_tile a2, a5, a6, a7, t6\n"
        "addi t3, t3, 4\n"
        "bne t3, a4, 2b\n"
        "sw a5, 0(a0)\n"
        "sw a6, 4(a0)\n"
        "sw a7, 8(a0)\n"
        "sw t6, 12(a0)\n"
        "addi a0, a0, 16\n"
        "addi a2, a2, 4\n"
        "addi a3, a3, -1\n"
        "bnez a3, 1b\n"
        "ret\n"
        NET_NO_GROUPS
    );
}
#else
/* Three groups of four rows at a time, the last one or two alone. a0 results, a1 v, a2 group, a3
 * groups, a4 bytes of v, then the end of v. */
static NET_KERNEL ROWS_NAME(int16_t *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const void *group NET_UNUSED, uint32_t groups NET_UNUSED, uint32_t bytes NET_UNUSED)
{
    __asm volatile(
        NET_GROUPS
        NET_TILE_WROWS_BITS
        "addi sp, sp, -48\n"
        ".irp n, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11\n"
        "sw s\\n, 4*\\n(sp)\n"
        ".endr\n"
        "li a5, 32767\n"
#if ROWS_BITS == 4
        "addi t4, a4, 20\n"
#endif
#if ROWS_BITS == 8
        "slli t4, a4, 1\n"
        "addi t4, t4, 20\n"
#endif
#if ROWS_BITS == 16
        "slli t4, a4, 2\n"
        "addi t4, t4, 20\n"
#endif
        "add a4, a4, a1\n"
        "addi a3, a3, -3\n"
        "bltz a3, 3f\n"
        "1:\n"
        "add a6, a2, t4\n"
        "add a7, a6, t4\n"
        "net_begin a2, s0, s1, s2, s3\n"
        "net_begin a6, s4, s5, s6, s7\n"
        "net_begin a7, s8, s9, s10, s11\n"
        "mv t3, a1\n"
        "2:\n"
        "lh t0, 0(t3)\n"
        "lh t1, 2(t3)\n"
        "net_tile a2, s0, s1, s2, s3\n"
        "net_tile a6, s4, s5, s6, s7\n"
        "net_tile a7, s8, s9, s10, s11\n"
        "addi t3, t3, 4\n"
        "bne t3, a4, 2b\n"
        "net_end a2, s0, s1, s2, s3, 1\n"
        "net_end a6, s4, s5, s6, s7, 2\n"
        "net_end a7, s8, s9, s10, s11, 3\n"
        "addi a2, a7, 4\n"
        "addi a3, a3, -3\n"
        "bgez a3, 1b\n"
        "3:\n"
        "addi a3, a3, 3\n"
        "beqz a3, 6f\n"
        "4:\n"
        "net_begin a2, s0, s1, s2, s3\n"
        "mv t3, a1\n"
        "5:\n"
        "lh t0, 0(t3)\n"
        "lh t1, 2(t3)\n"
        "net_tile a2, s0, s1, s2, s3\n"
        "addi t3, t3, 4\n"
        "bne t3, a4, 5b\n"
        "net_end a2, s0, s1, s2, s3, 4\n"
        "addi a2, a2, 4\n"
        "addi a3, a3, -1\n"
        "bnez a3, 4b\n"
        "6:\n"
        ".irp n, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11\n"
        "lw s\\n, 4*\\n(sp)\n"
        ".endr\n"
        "addi sp, sp, 48\n"
        "ret\n"
        "net_far 1, s0, s1, s2, s3\n"
        "net_far 2, s4, s5, s6, s7\n"
        "net_far 3, s8, s9, s10, s11\n"
        "net_far 4, s0, s1, s2, s3\n"
        NET_NO_GROUPS
    );
}
#endif
#endif
