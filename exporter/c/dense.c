
/* Dense layer. */
#if LAYER_LAST == 1
static void layer_step(const int16_t *v, int32_t y[LAYER_OUTPUTS])
#else
static void layer_step(const int16_t *v, int16_t y[LAYER_OUTPUTS])
#endif
{
    uint16_t o;

    for (o = 0; o < LAYER_OUTPUTS; o++) {
#if LAYER_RESCALED == 1
        const int_fast16_t in = layer_one(o, v);
#else
        const int32_t sum = layer_one(o, v);
#if LAYER_ACTIVATION == 1
        const int32_t value = (sum > 0) ? sum : 0;
#else
        const int32_t value = sum;
#endif
#endif
#if LAYER_RESCALED == 1
#if LAYER_ACTIVATION == 0
        const int_fast16_t value = in;
#endif
#if LAYER_ACTIVATION == 1
        const int_fast16_t value = (in > 0) ? in : 0;
#endif
#if LAYER_ACTIVATION == 2
        const int_fast16_t value = net_tanh_Q15(in, LAYER_TABLE_SHIFT);
#endif
#if LAYER_ACTIVATION == 3
        const int_fast16_t value = (int_fast16_t)(net_logistic_Q16(in, LAYER_TABLE_SHIFT) >> 1);
#endif
#endif

#if LAYER_OFFSET == 0
#if LAYER_LAST == 1
        y[o] = value;
#else
        y[o] = (int16_t)value;
#endif
#endif
#if LAYER_OFFSET == 1
        y[o] = value + NET_ROM_I32(&layer_offset[o]);
#endif
#if LAYER_OFFSET == 2
        y[o] = ((int32_t)value * NET_ROM_I32(&layer_scale[o])) + NET_ROM_I32(&layer_offset[o]);
#endif
    }
}
