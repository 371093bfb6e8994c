/* A board without hardware: a step takes as many cycles as its number says, and the counter wraps. */
#include <stdio.h>
#include "leakair.h"
#include "leakair_board.h"

void __real_leakair_step(leakair_state *s, const int16_t x[], int32_t y[]);
void __wrap_leakair_step(leakair_state *s, const int16_t x[], int32_t y[]);

static uint32_t now = UINT32_C(0xFFFFFF00);

void __wrap_leakair_step(leakair_state *s, const int16_t x[], int32_t y[])
{
    __real_leakair_step(s, x, y);
    now += 1000U;
}

uint32_t leakair_cycles(void)
{
    now += 7U;
    return now;
}

void leakair_line(const char *text)
{
    (void)puts(text);
}

int main(void)
{
    leakair_board(1);
    leakair_board(3);
    return 0;
}
