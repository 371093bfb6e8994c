
#if LAYER_RESCALED == 0
/* Last dense layer; the accumulator is the output. */
static NET_APART void layer_step(const int16_t *v, int32_t y[LAYER_OUTPUTS])
{
    int32_t sums[LAYER_ROWS];
    uint16_t o;

    layer_rows(sums, v);
    for (o = 0; o < LAYER_OUTPUTS; o++) {
#if LAYER_ACTIVATION == 1
        const int32_t value = (sums[o] > 0) ? sums[o] : 0;
#else
        const int32_t value = sums[o];
#endif

#if LAYER_OFFSET == 0
        y[o] = value;
#endif
#if LAYER_OFFSET == 1
        y[o] = value + NET_ROM_I32(&layer_offset[o]);
#endif
    }
}
#endif
#if LAYER_RESCALED == 1
#if LAYER_LAST == 1
/* Last dense layer. */
static NET_APART void layer_step(const int16_t *v, int32_t y[LAYER_OUTPUTS])
{
    int16_t in[LAYER_ROWS];
    uint16_t o;

    layer_rows(in, v);
    for (o = 0; o < LAYER_OUTPUTS; o++) {
#if LAYER_ACTIVATION == 2
        const int_fast16_t value = net_tanh_Q15(in[o], LAYER_TABLE_SHIFT);
#endif
#if LAYER_ACTIVATION == 3
        const int_fast16_t value = (int_fast16_t)(net_logistic_Q16(in[o], LAYER_TABLE_SHIFT) >> 1);
#endif

        y[o] = ((int32_t)value * NET_ROM_I32(&layer_scale[o])) + NET_ROM_I32(&layer_offset[o]);
    }
}
#else
/* Dense layer. */
static NET_APART void layer_step(const int16_t *v, int16_t y[LAYER_ROWS])
{
#if LAYER_ACTIVATION == 0
    layer_rows(y, v);
#else
    uint16_t o;

    layer_rows(y, v);
    for (o = 0; o < LAYER_OUTPUTS; o++) {
#if LAYER_ACTIVATION == 1
        y[o] = (int16_t)((y[o] > 0) ? y[o] : 0);
#endif
#if LAYER_ACTIVATION == 2
        y[o] = (int16_t)net_tanh_Q15(y[o], LAYER_TABLE_SHIFT);
#endif
#if LAYER_ACTIVATION == 3
        y[o] = (int16_t)(net_logistic_Q16(y[o], LAYER_TABLE_SHIFT) >> 1);
#endif
    }
#endif
}
#endif
#endif
