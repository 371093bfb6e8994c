#ifndef LIBRARY_H
#define LIBRARY_H

#include <stdint.h>

#define LIBRARY_N_FEATURES 8
#define LIBRARY_N_OUTPUTS 1

typedef struct {
    uint8_t used[12];
} library_state;

void library_reset(library_state *s);
void library_step(library_state *s, const int16_t x[LIBRARY_N_FEATURES],
                  int32_t y[LIBRARY_N_OUTPUTS]);

#endif
