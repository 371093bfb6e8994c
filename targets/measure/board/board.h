/* What main.c needs of a board. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

/* Sends a character to the machine that runs the emulator. */
#if defined(__AVR__)
/* Of an ATmega1284P: the general purpose register GPIOR0, which the tracer reads. */
#define board_put(c) (*(volatile uint8_t *)0x3e = (uint8_t)(c))
#elif defined(__riscv)
/* The serial port of QEMU's board "virt". */
#define board_put(c) (*(volatile uint8_t *)0x10000000 = (uint8_t)(c))
#else
void board_put(char c);
#endif

/* The lowest address that the stack of the caller uses: a step writes below it. */
static inline volatile uint8_t *board_stack_pointer(void)
{
#if defined(__AVR__)
    return (volatile uint8_t *)(*(volatile uint16_t *)0x5d + 1U);
#else
    volatile uint8_t *p;

#if defined(__riscv)
    __asm volatile("mv %0, sp" : "=r"(p));
#else
    __asm volatile("mov %0, sp" : "=r"(p));
#endif
    return p;
#endif
}

#endif
