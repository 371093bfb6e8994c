#if ROWS_COMMON == 1
#if ROWS_FIRST == 1
/* Code that reads rows has its four sums in r2 to r17, the input in r18 and r19, a weight in r20,
 * zero in r21, columns in r23 and groups that are left in r24; X is the input, Y are the results, Z
 * the rows. */
#define NET_SAVE \
    ".irp n, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 28, 29\n" \
    "push \\n\n" \
    ".endr\n"
#define NET_RESTORE \
    ".irp n, 29, 28, 17, 16, 15, 14, 13, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2\n" \
    "pop \\n\n" \
    ".endr\n" \
    "clr r1\n" \
    "ret\n"
/* Adds weight * input to the sum that begins at register n; the weight has no sign. */
#define NET_PRODUCT \
    "mul r20, r18\n" \
    "add \\n, r0\n" \
    "adc \\n+1, r1\n" \
    "adc \\n+2, r21\n" \
    "adc \\n+3, r21\n" \
    "mulsu r19, r20\n" \
    "sbc \\n+3, r21\n" \
    "add \\n+1, r0\n" \
    "adc \\n+2, r1\n" \
    "adc \\n+3, r21\n"
/* Sum >> shift, limited to int16, of the sum that begins at register n: whole bytes first. */
#define NET_ROW_END \
    NET_LOAD " r20, Z+\n" \
    "cpi r20, 8\n" \
    "brlo 4f\n" \
    "3:\n" \
    "mov \\n, \\n+1\n" \
    "mov \\n+1, \\n+2\n" \
    "mov \\n+2, \\n+3\n" \
    "lsl \\n+3\n" \
    "sbc \\n+3, \\n+3\n" \
    "subi r20, 8\n" \
    "cpi r20, 8\n" \
    "brsh 3b\n" \
    "tst r20\n" \
    "breq 6f\n" \
    "3:\n" \
    "asr \\n+2\n" \
    "ror \\n+1\n" \
    "ror \\n\n" \
    "dec r20\n" \
    "brne 3b\n" \
    "rjmp 6f\n" \
    "4:\n" \
    "tst r20\n" \
    "breq 6f\n" \
    "5:\n" \
    "asr \\n+3\n" \
    "ror \\n+2\n" \
    "ror \\n+1\n" \
    "ror \\n\n" \
    "dec r20\n" \
    "brne 5b\n" \
    "6:\n" \
    "mov r25, \\n+1\n" \
    "lsl r25\n" \
    "sbc r25, r25\n" \
    "cp \\n+2, r25\n" \
    "cpc \\n+3, r25\n" \
    "breq 7f\n" \
    "lsl \\n+3\n" \
    "sbc \\n, \\n\n" \
    "mov \\n+1, \\n\n" \
    "com \\n\n" \
    "ldi r25, 0x7F\n" \
    "eor \\n+1, r25\n" \
    "7:\n" \
    "st Y+, \\n\n" \
    "st Y+, \\n+1\n"
#endif
#else
/* Groups of four rows. */
static NET_KERNEL ROWS_NAME(ROWS_RESULT *result NET_UNUSED, const int16_t *v NET_UNUSED,
    const void *group NET_UNUSED, uint8_t groups NET_UNUSED, uint8_t columns NET_UNUSED ROWS_RAISED)
{
    __asm volatile(
        NET_SAVE
#if ROWS_BITS == 16
        "push r23\n"
        "push r22\n"
#else
        "push r23\n"
        "push r22\n"
        "push r15\n"
        "push r14\n"
        "push r13\n"
        "push r12\n"
#endif
        "movw r28, r24\n"
        "movw r30, r20\n"
        "mov r24, r18\n"
        "mov r23, r16\n"
        "clr r21\n"
        "1:\n"
        "in r26, 0x3D\n"
        "in r27, 0x3E\n"
        "adiw r26, 1\n"
#if ROWS_BITS == 16
        ".irp n, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17\n"
        NET_LOAD " \\n, Z+\n"
        ".endr\n"
#else
        "ld r18, X+\n"
        "ld r19, X+\n"
        "ld r20, X+\n"
        "ld r25, X+\n"
        ".irp n, 2, 6, 10, 14\n"
        NET_LOAD " \\n, Z+\n"
        "sub \\n, r18\n"
        NET_LOAD " \\n+1, Z+\n"
        "sbc \\n+1, r19\n"
        NET_LOAD " \\n+2, Z+\n"
        "sbc \\n+2, r20\n"
        NET_LOAD " \\n+3, Z+\n"
        "sbc \\n+3, r25\n"
        ".endr\n"
#endif
        "ld r20, X+\n"
        "ld r27, X\n"
        "mov r26, r20\n"
#if ROWS_BITS == 4
        "mov r22, r23\n"
        "2:\n"
        "ld r18, X+\n"
        "ld r19, X+\n"
        ".irp pair, 2, 10\n"
        NET_LOAD " r25, Z+\n"
        ".irp n, \\pair, \\pair+4\n"
        "mov r20, r25\n"
        "andi r20, 15\n"
        NET_PRODUCT
        "swap r25\n"
        ".endr\n"
        ".endr\n"
        "dec r22\n"
        "brne 2b\n"
#endif
#if ROWS_BITS == 8
        "mov r22, r23\n"
        "2:\n"
        "ld r18, X+\n"
        "ld r19, X+\n"
        ".irp n, 2, 6, 10, 14\n"
        NET_LOAD " r20, Z+\n"
        NET_PRODUCT
        ".endr\n"
        "dec r22\n"
        "brne 2b\n"
#endif
#if ROWS_BITS == 16
        "mov r25, r23\n"
        "2:\n"
        "ld r18, X+\n"
        "ld r19, X+\n"
        ".irp n, 2, 6, 10, 14\n"
        NET_LOAD " r20, Z+\n"
        NET_LOAD " r22, Z+\n"
        "mul r20, r18\n"
        "add \\n, r0\n"
        "adc \\n+1, r1\n"
        "adc \\n+2, r21\n"
        "adc \\n+3, r21\n"
        "muls r22, r19\n"
        "add \\n+2, r0\n"
        "adc \\n+3, r1\n"
        "mulsu r22, r18\n"
        "sbc \\n+3, r21\n"
        "add \\n+1, r0\n"
        "adc \\n+2, r1\n"
        "adc \\n+3, r21\n"
        "mulsu r19, r20\n"
        "sbc \\n+3, r21\n"
        "add \\n+1, r0\n"
        "adc \\n+2, r1\n"
        "adc \\n+3, r21\n"
        ".endr\n"
        "dec r25\n"
        "breq 3f\n"
        "rjmp 2b\n"
        "3:\n"
#endif
#if ROWS_SUMS == 1
        ".irp n, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17\n"
        "st Y+, \\n\n"
        ".endr\n"
        "adiw r30, 4\n"
#else
        ".irp n, 2, 6, 10, 14\n"
        NET_ROW_END
        ".endr\n"
#endif
        "dec r24\n"
        "breq 8f\n"
        "rjmp 1b\n"
        "8:\n"
#if ROWS_BITS == 16
        ".irp n, 0, 0\n"
#else
        ".irp n, 0, 0, 0, 0, 0, 0\n"
#endif
        "pop \\n\n"
        ".endr\n"
        NET_RESTORE
    );
}
#endif
