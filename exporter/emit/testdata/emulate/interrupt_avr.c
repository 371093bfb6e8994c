/* Timer 1 of an ATmega1284P interrupts, at a cycle that is chosen. */
#include "interrupt.h"
#include <avr/interrupt.h>
#include <avr/io.h>

void __vector_timer_taken(void);

static volatile uint16_t stack_at __asm__("stack_at") __attribute__((used));

/* Where the return address lies is known before anything else is kept. */
ISR(TIMER1_COMPA_vect, ISR_NAKED)
{
    __asm__ volatile("push r24\n\tin r24, __SP_L__\n\tsts stack_at, r24\n\t"
                     "in r24, __SP_H__\n\tsts stack_at+1, r24\n\tpop r24\n\t"
                     "jmp __vector_timer_taken");
}

__attribute__((signal, used)) void __vector_timer_taken(void)
{
    const volatile uint8_t *address = (const volatile uint8_t *)(uintptr_t)(stack_at + 2U);

    TCCR1B = 0;
    TIMSK1 = 0;
    interrupt_taken((uintptr_t)(2U * (((uint16_t)address[0] << 8) | address[1])));
}

void interrupt_at(uint32_t instants)
{
    TCCR1A = 0;
    TCCR1B = 0;
    TCNT1 = 0;
    OCR1A = (uint16_t)(instants + 4U);
    TIFR1 = (uint8_t)(1U << OCF1A);
    TIMSK1 = (uint8_t)(1U << OCIE1A);
    sei();
    TCCR1B = (uint8_t)(1U << CS10); /* counts every cycle */
}
