/* Random numbers of 32 bits, from the macro SEED on. */
#ifndef DRAW_H
#define DRAW_H

#include <stdint.h>

static uint32_t random_state = SEED;

/* xorshift32 with the shifts 13, 17, 5 (Marsaglia, Xorshift RNGs, 2003). */
static uint32_t draw(void)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 17;
    random_state ^= random_state << 5;
    return random_state;
}

#endif
