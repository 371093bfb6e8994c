
/* LSTM: i, f, o = logistic(W x + b + U h + d), g = tanh(Wg x + bg + Ug h + dg),
 *   c = f c + i g, h = o tanh(c)
 * Rows of a unit: i, f, g, o. */
#if LAYER_STATE_BITS == 32
static NET_APART void layer_step(int16_t h_Q15[LAYER_UNITS], int32_t c[LAYER_UNITS], const int16_t *x)
#else
static NET_APART void layer_step(int16_t h_Q15[LAYER_UNITS], int16_t c[LAYER_UNITS], const int16_t *x)
#endif
{
    int16_t in[LAYER_ROWS];
    int16_t re[LAYER_ROWS];
    uint16_t j;

    layer_x_rows(in, x);
    layer_h_rows(re, h_Q15);
    for (j = 0; j < LAYER_UNITS; j++) {
        const uint16_t row = (uint16_t)(4U * j);
        const uint_fast16_t add_Q16 = net_logistic_Q16(net_add(in[row], re[row]), LAYER_TABLE_SHIFT);
        const uint_fast16_t keep_Q16 = net_logistic_Q16(net_add(in[row + 1U], re[row + 1U]), LAYER_TABLE_SHIFT);
        const int_fast16_t candidate_Q15 = net_tanh_Q15(net_add(in[row + 2U], re[row + 2U]), LAYER_TABLE_SHIFT);
        const uint_fast16_t open_Q16 = net_logistic_Q16(net_add(in[row + 3U], re[row + 3U]), LAYER_TABLE_SHIFT);
#if LAYER_STATE_BITS == 32
        const int32_t cell = net_cell32(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        const int_fast16_t seen_Q15 = net_tanh_Q15(net_narrow(cell, LAYER_CELL_VIEW_SHIFT), LAYER_CELL_TABLE_SHIFT);

        c[j] = cell;
#else
        const int_fast16_t cell = net_cell16(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        const int_fast16_t seen_Q15 = net_tanh_Q15(cell, LAYER_CELL_TABLE_SHIFT);

        c[j] = (int16_t)cell;
#endif
        h_Q15[j] = (int16_t)net_scale_Q16(open_Q16, seen_Q15);
    }
}
