/* SysTick of a Cortex-M core interrupts (Armv6-M architecture reference manual, B3.3). QEMU counts
 * one nanosecond for every instruction (-icount shift=0); TICKS_16 is the nanoseconds of 16 ticks,
 * so that the instructions which are spent beforehand choose the one that is interrupted. */
#include "interrupt.h"

#define CONTROL (*(volatile uint32_t *)0xE000E010U)
#define RELOAD (*(volatile uint32_t *)0xE000E014U)
#define CURRENT (*(volatile uint32_t *)0xE000E018U)

#define AGAIN_TICKS 2U /* leaving the interrupt takes a part of them */

const uint16_t interrupt_again = AGAIN_TICKS * TICKS_16 / 16U;

void systick_taken(const uint32_t *frame);
void systick(void);

/* frame: r0 to r3, r12, lr, pc, xPSR of what was interrupted. */
__attribute__((used)) void systick_taken(const uint32_t *frame)
{
    CONTROL = 0;
    if (interrupt_taken(frame[6]) != 0) {
        RELOAD = AGAIN_TICKS - 1U;
        CURRENT = 0;
        CONTROL = 7;
    }
}

__attribute__((naked)) void systick(void)
{
    __asm__ volatile("mov r0, sp\n\tldr r1, =systick_taken\n\tbx r1\n\t.ltorg");
}

void interrupt_at(uint32_t instants)
{
    const uint32_t periods = (instants / TICKS_16) + 2U;
    uint32_t spend = (periods * TICKS_16) - instants;

    RELOAD = (16U * periods) - 1U;
    CURRENT = 0;
    CONTROL = 7; /* clock of the core, interrupt, on */
    /* As many instructions as spend says, and a few that are always the same. */
    __asm__ volatile(".syntax unified\n\tlsrs %0, %0, #1\n\tbcc 1f\n\tnop\n"
                     "1:\tsubs %0, %0, #1\n\tbne 1b"
                     : "+l"(spend) : : "cc", "memory");
}
