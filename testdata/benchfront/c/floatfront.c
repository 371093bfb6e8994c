/* The one channel of settings in plain float C, for comparison: running sums, a table of
 * floats, sqrtf and atan2f of the library. TURN is the table, cosine and sine. */
#include "net.h"
#include <math.h>

#define LINES 5U

static const float turn[NET_WINDOW][2] = {
    TURN
};

void net_front_reset(net_front *f)
{
    uint8_t k;

    f->taken = 0;
    f->at = 0;
    for (k = 0; k < LINES; k++) {
        f->re[k] = 0.0f;
        f->im[k] = 0.0f;
    }
    f->full = 0;
}

uint8_t net_sample(net_front *f, const uint16_t code[NET_N_CHANNELS])
{
    const float v = (float)code[0];
    uint16_t at = f->at;
    uint8_t k;

    if (f->full != 0U) {
        return 2;
    }
    for (k = 0; k < LINES; k++) {
        f->re[k] += v * turn[at][0];
        f->im[k] -= v * turn[at][1];
        at = (uint16_t)((at + f->at) % NET_WINDOW);
    }
    f->at = (uint16_t)((f->at + CYCLES) % NET_WINDOW);
    f->taken++;
    f->full = (uint8_t)(f->taken == NET_WINDOW);
    return f->full;
}

/* As name_encode of a handoff does. */
static int16_t encoded(float v)
{
    v = (v - 2000.0f) * 8.0f;
    if (v > 32767.0f) {
        v = 32767.0f;
    }
    if (v < -32768.0f) {
        v = -32768.0f;
    }
    return (int16_t)v;
}

void net_features(net_front *f, int16_t x[NET_N_FEATURES])
{
    float squares = 0.0f;
    float first = 0.0f;
    uint8_t k;

    for (k = 0; k < LINES; k++) {
        const float square = (f->re[k] * f->re[k]) + (f->im[k] * f->im[k]);

        x[k] = encoded(sqrtf(square) * (2.0f / (float)NET_WINDOW));
        if (k == 0U) {
            first = square;
        } else {
            squares += square;
        }
    }
    x[5] = encoded(atan2f(f->im[0], f->re[0]));
    x[6] = encoded((first > 0.0f) ? (100.0f * sqrtf(squares / first)) : 0.0f);
    net_front_reset(f);
}

int16_t net_encode_one(uint16_t feature, int32_t value)
{
    (void)feature;
    return (int16_t)value;
}
