/* y[0] = sum of x[i] * x[i] over 8 inputs (on avr of their low bytes, and 16 bits).
 * The cycles of every instruction stand beside it, sources: see emulate_test.go. */
#include "loop.h"

void loop_reset(loop_state *s)
{
    s->used[0] = 0;
}

/* In assembler as a whole, like a library routine: its stack is what it pushes. */
#if defined(__arm__)
#define ENTRY ".syntax unified\n.thumb_func\n.type loop_step, %function\n"
#else
#define ENTRY ".type loop_step, @function\n"
#endif
__asm(
    ".text\n.globl loop_step\n.balign 4\n" ENTRY "loop_step:\n"
#if defined(__AVR__)
    "push r28\n"       /* 2 */
    "movw r30, r22\n"  /* 1 */
    "movw r26, r20\n"  /* 1 */
    "ldi r18, 8\n"     /* 1 */
    "clr r24\n"        /* 1 */
    "clr r25\n"        /* 1 */
    "1: ld r20, Z\n"   /* 2 */
    "ldd r21, Z+0\n"   /* 2 */
    "muls r20, r21\n"  /* 2 */
    "add r24, r0\n"    /* 1 */
    "adc r25, r1\n"    /* 1 */
    "adiw r30, 2\n"    /* 2 */
    "dec r18\n"        /* 1 */
    "brne 1b\n"        /* 2, at last 1 */
    "clr r1\n"         /* 1 */
    "st X+, r24\n"     /* 2 */
    "st X+, r25\n"     /* 2 */
    "lpm r0, Z\n"      /* 3 */
    "pop r28\n"        /* 2 */
    "ret\n"           /* 4 */
#elif defined(__riscv)
    "mv a5, a1\n"          /* 1 */
    "addi a3, a1, 16\n"    /* 1 */
    "li a0, 0\n"           /* 1 */
    "1: lh a4, 0(a5)\n"    /* 2 */
    "lh a6, 0(a1)\n"       /* 2 */
    "addi a5, a5, 2\n"     /* 1 */
    "addi a1, a1, 2\n"     /* 1 */
    "mul a4, a4, a6\n"     /* 1 */
    "add a0, a0, a4\n"     /* 1 */
    "bne a3, a5, 1b\n"     /* 3, at last 1 */
    "sw a0, 0(a2)\n"       /* 2 */
    "ret\n"               /* 2 */
#elif __ARM_ARCH == 6
    "push {r4, r5, r6, lr}\n" /* 1 + 4 */
    "movs r3, #0\n"           /* 1 */
    "movs r0, #0\n"           /* 1 */
    "movs r6, #16\n"          /* 1 */
    "1: ldrsh r5, [r1, r3]\n" /* 2 */
    "ldrsh r4, [r1, r3]\n"    /* 2 */
    "adds r3, #2\n"           /* 1 */
    "muls r4, r5\n"           /* 1 */
    "adds r0, r0, r4\n"       /* 1 */
    "cmp r6, r3\n"            /* 1 */
    "bne 1b\n"                /* 2, at last 1 */
    "str r0, [r2]\n"          /* 2 */
    "pop {r4, r5, r6, pc}\n" /* 3 + 4 */
#else
    "push {r4, r5, lr}\n"          /* 1 + 3 */
    "movs r0, #0\n"                /* 1 */
    "mov r3, r1\n"                 /* 1 */
    "add r4, r1, #14\n"            /* 1 */
    "subs r3, #2\n"                /* 1 */
    "1: ldrsh ip, [r3, #2]!\n"     /* 2, at first 1 more: r3 is the result of the line above */
    "ldrsh r5, [r1], #2\n"         /* Cortex-M3 2, M4 1 */
    "cmp r3, r4\n"                 /* 1 */
#if defined(__ARM_FEATURE_DSP)
    "smlabb r0, r5, ip, r0\n"      /* 1 */
#else
    "mla r0, r5, ip, r0\n"         /* 2 */
#endif
    "bne 1b\n"                     /* 1 + 2, at last 1 */
    "str r0, [r2]\n"               /* 1 */
    "pop {r4, r5, pc}\n"          /* 1 + 3 + 2 */
#endif
);
