#ifndef FLOATS_H
#define FLOATS_H

#include <stdint.h>

#define FLOATS_N_FEATURES 8
#define FLOATS_N_OUTPUTS 1

typedef struct {
    uint8_t used[12];
} floats_state;

void floats_reset(floats_state *s);
void floats_step(floats_state *s, const float x[FLOATS_N_FEATURES], float y[FLOATS_N_OUTPUTS]);

#endif
