/* Interrupts at chosen instants, on every core: what front_interrupt.c needs of
 * interrupt_CORE.c. */
#ifndef INTERRUPT_H
#define INTERRUPT_H

#include <stdint.h>

/* Lets interrupt_taken be called by an interrupt, so many instants and a few more after
 * interrupt_at has begun. An instant is an instruction; on AVR a cycle. */
void interrupt_at(uint32_t instants);

/* Code that was interrupted before the instruction at pc. Where it returns 1, another interrupt
 * comes interrupt_again instants later or a little before. */
int interrupt_taken(uintptr_t pc);

extern const uint16_t interrupt_again;

#endif
