/* Straightforward float C of a GRU (reset-after) with a linear head; gates stand
 * in the order reset, update, candidate. */
#include "floatnet.h"

#include <math.h>

#include "floatnet_weights.h"

static float logistic(float v)
{
    return 1.0F / (1.0F + expf(-v));
}

static float dot(const float *w, const float *v, int n)
{
    float sum = 0.0F;
    int i;

    for (i = 0; i < n; i++) {
        sum += w[i] * v[i];
    }
    return sum;
}

void floatnet_reset(floatnet_state *s)
{
    int j;

    for (j = 0; j < FLOATNET_N_UNITS; j++) {
        s->h[j] = 0.0F;
    }
}

void floatnet_step(floatnet_state *s, const float x[FLOATNET_N_FEATURES],
                   float y[FLOATNET_N_OUTPUTS])
{
    float in[3 * FLOATNET_N_UNITS];
    float re[3 * FLOATNET_N_UNITS];
    int j;

    for (j = 0; j < 3 * FLOATNET_N_UNITS; j++) {
        in[j] = floatnet_b[j] + dot(floatnet_w[j], x, FLOATNET_N_FEATURES);
        re[j] = floatnet_d[j] + dot(floatnet_u[j], s->h, FLOATNET_N_UNITS);
    }
    for (j = 0; j < FLOATNET_N_UNITS; j++) {
        const float r = logistic(in[j] + re[j]);
        const float z = logistic(in[FLOATNET_N_UNITS + j] + re[FLOATNET_N_UNITS + j]);
        const float n = tanhf(in[2 * FLOATNET_N_UNITS + j] + r * re[2 * FLOATNET_N_UNITS + j]);

        s->h[j] = (1.0F - z) * n + z * s->h[j];
    }
    for (j = 0; j < FLOATNET_N_OUTPUTS; j++) {
        y[j] = floatnet_head_b[j] + dot(floatnet_head_w[j], s->h, FLOATNET_N_UNITS);
    }
}
