#ifndef LOOP_H
#define LOOP_H

#include <stdint.h>

#define LOOP_N_FEATURES 8
#define LOOP_N_OUTPUTS 1

typedef struct {
    uint8_t used[12];
} loop_state;

void loop_reset(loop_state *s);
void loop_step(loop_state *s, const int16_t x[LOOP_N_FEATURES], int32_t y[LOOP_N_OUTPUTS]);

#endif
