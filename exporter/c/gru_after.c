
/* GRU, reset gate behind the recurrent product:
 *   r = logistic(Wr x + br + Ur h + dr), z likewise
 *   n = tanh(Wn x + bn + r (Un h + dn)), h = z h + (1 - z) n */
#if LAYER_STATE_BITS == 32
static void layer_step(int32_t h_Q30[LAYER_UNITS], int16_t h_Q15[LAYER_UNITS], const int16_t *x)
{
#else
static void layer_step(int16_t h_Q15[LAYER_UNITS], const int16_t *x)
{
    int16_t next_Q15[LAYER_UNITS];
#endif
    uint16_t j;

#if LAYER_STATE_BITS == 32
    for (j = 0; j < LAYER_UNITS; j++) {
        h_Q30[j] = net_limit_Q30(h_Q30[j]);
        h_Q15[j] = net_narrow(h_Q30[j], 15);
    }
#endif
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row_z = (uint16_t)(j + LAYER_UNITS);
        const uint16_t row_n = (uint16_t)(row_z + LAYER_UNITS);
        const int32_t reset_in = (int32_t)layer_in(j, x) + layer_re(j, h_Q15);
        const int32_t keep_in = (int32_t)layer_in(row_z, x) + layer_re(row_z, h_Q15);
        const uint16_t reset_Q16 = net_logistic_Q16(net_sat16(reset_in), LAYER_TABLE_SHIFT);
        const uint16_t keep_Q16 = net_logistic_Q16(net_sat16(keep_in), LAYER_TABLE_SHIFT);
        const int32_t memory = net_scale_Q16(reset_Q16, layer_re(row_n, h_Q15));
        const int16_t candidate_Q15 = net_tanh_Q15(net_sat16(layer_in(row_n, x) + memory), LAYER_TABLE_SHIFT);

#if LAYER_STATE_BITS == 32
        h_Q30[j] = net_blend_Q30(keep_Q16, h_Q30[j], candidate_Q15);
#else
        next_Q15[j] = net_blend_Q15(keep_Q16, h_Q15[j], candidate_Q15);
#endif
    }
    for (j = 0; j < LAYER_UNITS; j++) {
#if LAYER_STATE_BITS == 32
        h_Q15[j] = net_narrow(h_Q30[j], 15);
#else
        h_Q15[j] = next_Q15[j];
#endif
    }
}
