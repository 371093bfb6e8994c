
/* GRU, reset gate in front of the recurrent product:
 *   r = logistic(Wr x + br + Ur h + dr), z likewise
 *   n = tanh(Wn x + bn + Un (r h) + dn), h = z h + (1 - z) n
 * Rows of a unit: r, z; behind all of them the rows n. */
#if LAYER_STATE_BITS == 32
static NET_APART void layer_step(int32_t h_Q30[LAYER_UNITS], int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#else
static NET_APART void layer_step(int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#endif
{
    int16_t in[LAYER_ROWS];
    int16_t re[LAYER_PAIR_ROWS];
    int16_t scaled_Q15[LAYER_UNITS + (LAYER_UNITS % 2U)] NET_ALIGNED;
    uint16_t keep_Q16[LAYER_UNITS];
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
        const uint16_t row = (uint16_t)(2U * j);
        const uint_fast16_t reset_Q16 = net_logistic_Q16(net_add(in[row], re[row]), LAYER_TABLE_SHIFT);

        scaled_Q15[j] = (int16_t)net_scale_Q16(reset_Q16, h_Q15[j]);
        keep_Q16[j] = (uint16_t)net_logistic_Q16(net_add(in[row + 1U], re[row + 1U]), LAYER_TABLE_SHIFT);
    }
    layer_n_rows(re, scaled_Q15);
    for (j = 0; j < LAYER_UNITS; j++) {
        const int_fast16_t sum = net_add(in[(2U * LAYER_UNITS) + j], re[j]);
        const int_fast16_t candidate_Q15 = net_tanh_Q15(sum, LAYER_TABLE_SHIFT);

#if LAYER_STATE_BITS == 32
        h_Q30[j] = net_blend_Q30(keep_Q16[j], h_Q30[j], candidate_Q15);
        h_Q15[j] = (int16_t)net_narrow(h_Q30[j], 15);
#else
        h_Q15[j] = (int16_t)net_blend_Q15(keep_Q16[j], h_Q15[j], candidate_Q15);
#endif
    }
}
