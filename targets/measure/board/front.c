/* Runs windows of samples through a front end. The first NETWORK_TYPICAL windows are
 * of waves with noise; in each further one every channel rises, falls, jumps between
 * its ends, stands still, is noise or a wave, as drawn. */
#include "network.h"
#include "board.h"

/* shapes of a channel in a window */
enum { WAVE, RISE, FALL, JUMP, STILL, NOISE, SHAPES };

static const uint8_t bits[NETWORK_CHANNELS] = NETWORK_BITS;
static network_front front;
static uint16_t code[NETWORK_CHANNELS];
static network_input x[NETWORK_FEATURES] __attribute__((aligned(4)));
volatile network_input sink;

static struct {
    uint8_t shape;
    uint16_t phase, speed; /* in turns of 2^16 */
    uint16_t size;         /* of a wave, of 2^16 */
    uint16_t noise;
} channels[NETWORK_CHANNELS];

/* Generator: Numerical Recipes, 2nd edition, section 7.1, ranqd1. */
static uint16_t draw(void)
{
    static uint32_t seed = NETWORK_SEED;

    seed = (seed * UINT32_C(1664525)) + UINT32_C(1013904223);
    return (uint16_t)(seed >> 16);
}

static void draw_window(uint16_t window)
{
    const uint8_t same = (uint8_t)(draw() % SHAPES);
    uint8_t c;

    for (c = 0; c < NETWORK_CHANNELS; c++) {
        channels[c].shape = (uint8_t)(draw() % SHAPES);
        if ((window & 1U) == 0U) {
            channels[c].shape = same;
        }
        if (window < NETWORK_TYPICAL) {
            channels[c].shape = WAVE;
        }
        channels[c].phase = draw();
        channels[c].speed = (uint16_t)(draw() >> 3);
        channels[c].size = (uint16_t)(draw() >> (draw() % 12U));
        channels[c].noise = (uint16_t)(draw() >> (4U + (draw() % 12U)));
    }
}

/* Returns the code of a channel at sample n, in 16 bits. */
static uint16_t take(uint8_t c, uint16_t n)
{
    const uint32_t at = ((uint32_t)n << 16) / NETWORK_WINDOW;
    int32_t v = 32768;

    channels[c].phase = (uint16_t)(channels[c].phase + channels[c].speed);
    switch (channels[c].shape) {
    case RISE:
        return (uint16_t)at;
    case FALL:
        return (uint16_t)(65535U - at);
    case JUMP:
        return ((n & 1U) != 0U) ? 65535U : 0U;
    case STILL:
        return channels[c].phase;
    case NOISE:
        return draw();
    default: /* a triangle of -2^14 to 2^14 */
        v = (int32_t)(channels[c].phase & 32767U) - 16384;
        v = ((channels[c].phase & 32768U) != 0U) ? -v : v;
        v = 32768 + ((v * (int32_t)(channels[c].size >> 2)) >> 13);
        v += (int32_t)(draw() % (channels[c].noise + 1UL)) - (int32_t)(channels[c].noise >> 1);
        return (uint16_t)((v < 0) ? 0 : ((v > 65535) ? 65535 : v));
    }
}

int main(void)
{
    uint16_t window;
    uint16_t n;
    uint8_t c;

    network_front_reset(&front);
    for (window = 0; window < NETWORK_WINDOWS; window++) {
        draw_window(window);
        for (n = 0; n < NETWORK_WINDOW; n++) {
            for (c = 0; c < NETWORK_CHANNELS; c++) {
                code[c] = (uint16_t)(take(c, n) >> (16U - bits[c]));
                if (channels[c].shape == STILL) {
                    channels[c].speed = 0;
                }
            }
            (void)network_sample(&front, code);
        }
        network_features(&front, x);
        sink = x[0];
    }
    return 0;
}
