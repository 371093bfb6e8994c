/* Loads 1.234 and 5.678 (avr-libc manual, chapter "Benchmarks") and goes on in the library. */
#include "library.h"

void library_reset(library_state *s)
{
    s->used[0] = 0;
}

__attribute__((naked)) void library_step(library_state *s, const int16_t x[LIBRARY_N_FEATURES],
                                         int32_t y[LIBRARY_N_OUTPUTS])
{
    /* 8 LDI of 1 cycle, 1 JMP of 3; the RET of the routine ends the step. */
    __asm volatile("ldi r22, lo8(0x3f9df3b6)\n ldi r23, hi8(0x3f9df3b6)\n"
                   "ldi r24, hlo8(0x3f9df3b6)\n ldi r25, hhi8(0x3f9df3b6)\n"
                   "ldi r18, lo8(0x40b5b22d)\n ldi r19, hi8(0x40b5b22d)\n"
                   "ldi r20, hlo8(0x40b5b22d)\n ldi r21, hhi8(0x40b5b22d)\n"
                   "jmp " ROUTINE "\n");
}
