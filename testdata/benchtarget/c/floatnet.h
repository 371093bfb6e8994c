/* A GRU (reset-after) with a linear head in plain float C: what firmware would
 * look like without kerf. Interface as of a handoff, but with float values. */
#ifndef FLOATNET_H
#define FLOATNET_H

#include <stdint.h>

#include "floatnet_sizes.h"

typedef struct {
    float h[FLOATNET_N_UNITS];
} floatnet_state;

void floatnet_reset(floatnet_state *s);
void floatnet_step(floatnet_state *s, const float x[FLOATNET_N_FEATURES],
                   float y[FLOATNET_N_OUTPUTS]);

#endif
