
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
        h_Q15[j] = net_narrow(h_Q30[j], 15);
    }
#endif
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row_z = (uint16_t)(j + LAYER_UNITS);
        const int32_t reset_in = (int32_t)layer_in(j, x) + layer_re(j, h_Q15);
        const int32_t keep_in = (int32_t)layer_in(row_z, x) + layer_re(row_z, h_Q15);
        const uint16_t reset_Q16 = net_logistic_Q16(net_sat16(reset_in), LAYER_TABLE_SHIFT);

        scaled_Q15[j] = net_scale_Q16(reset_Q16, h_Q15[j]);
        keep_Q16[j] = net_logistic_Q16(net_sat16(keep_in), LAYER_TABLE_SHIFT);
    }
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row_n = (uint16_t)(j + (2U * LAYER_UNITS));
        const int32_t in = (int32_t)layer_in(row_n, x) + layer_re(row_n, scaled_Q15);
        const int16_t candidate_Q15 = net_tanh_Q15(net_sat16(in), LAYER_TABLE_SHIFT);

#if LAYER_STATE_BITS == 32
        h_Q30[j] = net_blend_Q30(keep_Q16[j], h_Q30[j], candidate_Q15);
        h_Q15[j] = net_narrow(h_Q30[j], 15);
#else
        h_Q15[j] = net_blend_Q15(keep_Q16[j], h_Q15[j], candidate_Q15);
#endif
    }
}
