
/* GRU, reset gate behind the recurrent product:
 *   r = logistic(Wr x + br + Ur h + dr), z likewise
 *   n = tanh(Wn x + bn + r (Un h + dn)), h = z h + (1 - z) n
 * Rows of a unit: r, z, n. */
#if LAYER_STATE_BITS == 32
static NET_APART void layer_step(int32_t h_Q30[LAYER_UNITS], int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#else
static NET_APART void layer_step(int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#endif
{
    int16_t in[LAYER_ROWS];
    int16_t re[LAYER_ROWS];
    uint16_t j;

#if LAYER_STATE_BITS == 32
    for (j = 0; j < LAYER_UNITS; j++) {
        h_Q30[j] = net_limit_Q30(h_Q30[j]);
        h_Q15[j] = (int16_t)net_narrow(h_Q30[j], 15);
    }
#endif
    layer_x_rows(in, x);
    layer_h_rows(re, h_Q15);
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row = (uint16_t)(3U * j);
        const uint_fast16_t reset_Q16 = net_logistic_Q16(net_add(in[row], re[row]), LAYER_TABLE_SHIFT);
        const uint_fast16_t keep_Q16 = net_logistic_Q16(net_add(in[row + 1U], re[row + 1U]), LAYER_TABLE_SHIFT);
        const int_fast16_t memory = net_scale_Q16(reset_Q16, re[row + 2U]);
        const int_fast16_t candidate_Q15 = net_tanh_Q15(net_add(in[row + 2U], memory), LAYER_TABLE_SHIFT);

#if LAYER_STATE_BITS == 32
        h_Q30[j] = net_blend_Q30(keep_Q16, h_Q30[j], candidate_Q15);
        h_Q15[j] = (int16_t)net_narrow(h_Q30[j], 15);
#else
        h_Q15[j] = (int16_t)net_blend_Q15(keep_Q16, h_Q15[j], candidate_Q15);
#endif
    }
}
