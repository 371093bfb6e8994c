/* The timer of QEMU's RISC-V machine "virt" interrupts (RISC-V privileged architecture, mtime).
 * QEMU counts one nanosecond for every instruction (-icount shift=0). The timer ticks with 10 MHz,
 * every 100 instructions, and interrupts so many whole ticks after the comparison was written
 * (QEMU's source, hw/intc/riscv_aclint.c); the instructions that are spent beforehand choose the one
 * that is interrupted. */
#include "interrupt.h"

/* The compiler has these instructions for the core, its assembler asks for their name. */
__asm__(".option arch, +zicsr");

#define NOW (*(volatile uint32_t *)0x0200BFF8U)
#define COMPARE_LOW (*(volatile uint32_t *)0x02004000U)
#define COMPARE_HIGH (*(volatile uint32_t *)0x02004004U)
#define TICK 100U
#define AGAIN_TICKS 2U /* leaving the interrupt takes a part of them */

const uint16_t interrupt_again = AGAIN_TICKS * TICK;

__attribute__((interrupt("machine"), aligned(4))) static void timer(void)
{
    uintptr_t pc;

    COMPARE_HIGH = UINT32_MAX;
    __asm__ volatile("csrr %0, mepc" : "=r"(pc));
    if (interrupt_taken(pc) != 0) {
        COMPARE_LOW = NOW + AGAIN_TICKS;
        COMPARE_HIGH = 0;
    }
}

void interrupt_at(uint32_t instants)
{
    const uint32_t ticks = (instants / TICK) + 2U;
    uint32_t spend = (ticks * TICK) - instants;
    const uint32_t now = NOW;

    COMPARE_HIGH = UINT32_MAX;
    __asm__ volatile("csrw mtvec, %0\n\tcsrs mie, %1\n\tcsrsi mstatus, 8"
                     : : "r"(timer), "r"(128) : "memory");
    while (NOW == now) { /* no tick between here and the comparison */
    }
    COMPARE_LOW = now + 1U + ticks;
    COMPARE_HIGH = 0;
    /* As many instructions as spend says, and a few that are always the same. */
    __asm__ volatile("andi t0, %0, 1\n\tsrli %0, %0, 1\n\tbeqz t0, 1f\n\tnop\n"
                     "1:\taddi %0, %0, -1\n\tbnez %0, 1b"
                     : "+r"(spend) : : "t0", "memory");
}
