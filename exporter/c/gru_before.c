
/* GRU, reset gate in front of the recurrent product:
 *   r = logistic(Wr x + br + Ur h + dr), z likewise
 *   n = tanh(Wn x + bn + Un (r h) + dn), h = z h + (1 - z) n */
#if LAYER_STATE_BITS == 32
static void layer_step(int32_t h_Q30[LAYER_UNITS], int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#else
static void layer_step(int16_t h_Q15[LAYER_UNITS], const int16_t *x)
#endif
{
    int16_t scaled_Q15[LAYER_UNITS];
    uint16_t keep_Q16[LAYER_UNITS];
    uint16_t j;

#if LAYER_STATE_BITS == 32
    for (j = 0; j < LAYER_UNITS; j++) {
        h_Q30[j] = net_limit_Q30(h_Q30[j]);
        h_Q15[j] = (int16_t)net_narrow(h_Q30[j], 15);
    }
#endif
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row = (uint16_t)(2U * j);
        int_fast16_t in[2];
        int_fast16_t re[2];
        uint_fast16_t reset_Q16;

        layer_x_two(in, row, x);
        layer_h_two(re, row, h_Q15);
        reset_Q16 = net_logistic_Q16(net_add(in[0], re[0]), LAYER_TABLE_SHIFT);
        scaled_Q15[j] = (int16_t)net_scale_Q16(reset_Q16, h_Q15[j]);
        keep_Q16[j] = (uint16_t)net_logistic_Q16(net_add(in[1], re[1]), LAYER_TABLE_SHIFT);
    }
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row_n = (uint16_t)(j + (2U * LAYER_UNITS));
        const int_fast16_t in = net_add(layer_x_one(row_n, x), layer_h_one(row_n, scaled_Q15));
        const int_fast16_t candidate_Q15 = net_tanh_Q15(in, LAYER_TABLE_SHIFT);

#if LAYER_STATE_BITS == 32
        h_Q30[j] = net_blend_Q30(keep_Q16[j], h_Q30[j], candidate_Q15);
        h_Q15[j] = (int16_t)net_narrow(h_Q30[j], 15);
#else
        h_Q15[j] = (int16_t)net_blend_Q15(keep_Q16[j], h_Q15[j], candidate_Q15);
#endif
    }
}
