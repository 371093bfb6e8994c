
/* Pre-activation of one gate row of the LSTM. */
static int16_t layer_gate(uint16_t row, const int16_t *x, const int16_t *h)
{
    return net_sat16((int32_t)layer_in(row, x) + layer_re(row, h));
}

/* LSTM: i, f, o = logistic(W x + b + U h + d), g = tanh(Wg x + bg + Ug h + dg),
 *   c = f c + i g, h = o tanh(c) */
#if LAYER_STATE_BITS == 32
static void layer_step(int16_t h_Q15[LAYER_UNITS], int32_t c[LAYER_UNITS], const int16_t *x)
#else
static void layer_step(int16_t h_Q15[LAYER_UNITS], int16_t c[LAYER_UNITS], const int16_t *x)
#endif
{
    int16_t next_Q15[LAYER_UNITS];
    uint16_t j;

    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row_f = (uint16_t)(j + LAYER_UNITS);
        const uint16_t row_g = (uint16_t)(row_f + LAYER_UNITS);
        const uint16_t row_o = (uint16_t)(row_g + LAYER_UNITS);
        const uint16_t add_Q16 = net_logistic_Q16(layer_gate(j, x, h_Q15), LAYER_TABLE_SHIFT);
        const uint16_t keep_Q16 = net_logistic_Q16(layer_gate(row_f, x, h_Q15), LAYER_TABLE_SHIFT);
        const int16_t candidate_Q15 = net_tanh_Q15(layer_gate(row_g, x, h_Q15), LAYER_TABLE_SHIFT);
        const uint16_t open_Q16 = net_logistic_Q16(layer_gate(row_o, x, h_Q15), LAYER_TABLE_SHIFT);
        int16_t seen_Q15;

#if LAYER_STATE_BITS == 32
        c[j] = net_cell32(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        seen_Q15 = net_tanh_Q15(net_narrow(c[j], LAYER_CELL_VIEW_SHIFT), LAYER_CELL_TABLE_SHIFT);
#else
        c[j] = net_cell16(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        seen_Q15 = net_tanh_Q15(c[j], LAYER_CELL_TABLE_SHIFT);
#endif
        next_Q15[j] = net_scale_Q16(open_Q16, seen_Q15);
    }
    for (j = 0; j < LAYER_UNITS; j++) {
        h_Q15[j] = next_Q15[j];
    }
}
