/* Row of W x + b, in the format of a pre-activation. */
static int16_t layer_in(uint16_t row, const int16_t *x)
{
    const int32_t bias = NET_ROM_I32(&layer_b_x[row]);
#if LAYER_W_X_BITS == 4
    const int32_t sum = net_dot_w4(bias, &layer_w_x[(size_t)row * LAYER_X_STRIDE], x, LAYER_INPUTS);
#endif
#if LAYER_W_X_BITS == 8
    const int32_t sum = net_dot_w8(bias, &layer_w_x[(size_t)row * LAYER_X_STRIDE], x, LAYER_INPUTS);
#endif
#if LAYER_W_X_BITS == 16
    const int32_t sum = net_dot_w16(bias, &layer_w_x[(size_t)row * LAYER_X_STRIDE], x, LAYER_INPUTS);
#endif

    return net_sat16(net_round_shift(sum, NET_ROM_U8(&layer_shift_x[row])));
}

/* Row of U h + d, in the format of a pre-activation. */
static int16_t layer_re(uint16_t row, const int16_t *h)
{
    const int32_t bias = NET_ROM_I32(&layer_b_h[row]);
#if LAYER_W_H_BITS == 4
    const int32_t sum = net_dot_w4(bias, &layer_w_h[(size_t)row * LAYER_H_STRIDE], h, LAYER_UNITS);
#endif
#if LAYER_W_H_BITS == 8
    const int32_t sum = net_dot_w8(bias, &layer_w_h[(size_t)row * LAYER_H_STRIDE], h, LAYER_UNITS);
#endif
#if LAYER_W_H_BITS == 16
    const int32_t sum = net_dot_w16(bias, &layer_w_h[(size_t)row * LAYER_H_STRIDE], h, LAYER_UNITS);
#endif

    return net_sat16(net_round_shift(sum, NET_ROM_U8(&layer_shift_h[row])));
}
