/* Vector table and start of a Cortex-M core. It talks to the emulator by
 * semihosting calls (Arm, Semihosting for AArch32 and AArch64): SYS_WRITEC 0x03,
 * SYS_EXIT 0x18 with the reason 0x20026 (the program has ended). */
#include "board.h"

extern int main(void);
void start(void);
void fault(void);

/* Stack, reset and the faults (Armv6-M Architecture Reference Manual, B1.5.3). */
__attribute__((section(".vectors"), used)) const uintptr_t vectors[16] = {
    STACK_TOP, (uintptr_t)start, (uintptr_t)fault, (uintptr_t)fault,
    (uintptr_t)fault, (uintptr_t)fault, (uintptr_t)fault, (uintptr_t)fault
};

static void call(uint32_t operation, uint32_t argument)
{
    __asm volatile("movs r0, %0\n mov r1, %1\n bkpt 0xAB" ::"r"(operation), "r"(argument)
                   : "r0", "r1", "memory");
}

void board_put(char c)
{
    volatile char place = c;

    call(0x03, (uint32_t)&place);
}

void start(void)
{
#if defined(__ARM_FP)
    /* The floating-point unit is off after reset: full access to coprocessors 10
     * and 11 in CPACR (Armv7-M Architecture Reference Manual, B3.2.20). */
    *(volatile uint32_t *)0xE000ED88 |= UINT32_C(0xF) << 20;
    __asm volatile("dsb\n isb");
#endif
    main();
    call(0x18, 0x20026);
    for (;;) {
    }
}

void fault(void)
{
    call(0x18, 0);
    for (;;) {
    }
}
