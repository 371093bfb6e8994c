
#if LAYER_RELU == 1
/* Elman layer: h = max(0, W x + b + U h + d). */
#else
/* Elman layer: h = tanh(W x + b + U h + d). */
#endif
static NET_APART void layer_step(int16_t h[LAYER_UNITS], const int16_t *x)
{
    int16_t in[LAYER_ROWS];
    int16_t re[LAYER_ROWS];
    uint16_t j;

    layer_x_rows(in, x);
    layer_h_rows(re, h);
    for (j = 0; j < LAYER_UNITS; j++) {
        const int_fast16_t sum = net_add(in[j], re[j]);

#if LAYER_RELU == 1
        h[j] = (int16_t)((sum > 0) ? sum : 0);
#else
        h[j] = (int16_t)net_tanh_Q15(sum, LAYER_TABLE_SHIFT);
#endif
    }
}
