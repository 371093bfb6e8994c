/* Timer 1 of an ATmega1284P interrupts, at a cycle that is chosen. */
#include "interrupt.h"
#include <avr/interrupt.h>
#include <avr/io.h>

/* The time from the compare to this interrupt is taken off, and leaving it takes a part: the
 * instruction that ends in between would else bring calls that begin apart into step. */
#define AGAIN 250U

const uint16_t interrupt_again = AGAIN;

void __vector_timer_taken(void);

static volatile uint16_t stack_at __asm__("stack_at") __attribute__((used));

/* Where the return address lies is known before anything else is kept. */
ISR(TIMER1_COMPA_vect, ISR_NAKED)
{
    __asm__ volatile("push r24\n\tin r24, __SP_L__\n\tsts stack_at, r24\n\t"
                     "in r24, __SP_H__\n\tsts stack_at+1, r24\n\tpop r24\n\t"
                     "jmp __vector_timer_taken");
}

/* Lets the timer interrupt after so many cycles; it counts every cycle. */
static inline void start(uint16_t cycles)
{
    TCNT1 = 0;
    OCR1A = cycles;
    TIFR1 = (uint8_t)(1U << OCF1A);
    TIMSK1 = (uint8_t)(1U << OCIE1A);
    TCCR1B = (uint8_t)(1U << CS10);
}

__attribute__((signal, used)) void __vector_timer_taken(void)
{
    const volatile uint8_t *address = (const volatile uint8_t *)(uintptr_t)(stack_at + 2U);

    const uint16_t late = (uint16_t)(TCNT1 - OCR1A);

    TCCR1B = 0;
    TIMSK1 = 0;
    if (interrupt_taken((uintptr_t)(2U * (((uint16_t)address[0] << 8) | address[1]))) != 0) {
        start(AGAIN - late);
    }
}

void interrupt_at(uint32_t instants)
{
    TCCR1A = 0;
    TCCR1B = 0;
    sei();
    start((uint16_t)(instants + 4U));
}
