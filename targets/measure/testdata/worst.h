#ifndef WORST_H
#define WORST_H

#include <stdint.h>

#define WORST_N_FEATURES 3U
#define WORST_N_OUTPUTS 1U

typedef struct {
    uint8_t hits;
} worst_state;

void worst_reset(worst_state *s);
void worst_step(worst_state *s, const int16_t x[WORST_N_FEATURES], int32_t y[WORST_N_OUTPUTS]);

#endif
