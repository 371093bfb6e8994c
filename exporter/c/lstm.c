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
        const uint16_t row = (uint16_t)(4U * j);
        int_fast16_t in[4];
        int_fast16_t re[4];
        uint_fast16_t add_Q16;
        uint_fast16_t keep_Q16;
        uint_fast16_t open_Q16;
        int_fast16_t candidate_Q15;
        int_fast16_t seen_Q15;

        layer_x_two(&in[0], row, x);
        layer_x_two(&in[2], (uint16_t)(row + 2U), x);
        layer_h_two(&re[0], row, h_Q15);
        layer_h_two(&re[2], (uint16_t)(row + 2U), h_Q15);
        add_Q16 = net_logistic_Q16(net_add(in[0], re[0]), LAYER_TABLE_SHIFT);
        keep_Q16 = net_logistic_Q16(net_add(in[1], re[1]), LAYER_TABLE_SHIFT);
        candidate_Q15 = net_tanh_Q15(net_add(in[2], re[2]), LAYER_TABLE_SHIFT);
        open_Q16 = net_logistic_Q16(net_add(in[3], re[3]), LAYER_TABLE_SHIFT);
#if LAYER_STATE_BITS == 32
        c[j] = net_cell32(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        seen_Q15 = net_tanh_Q15(net_narrow(c[j], LAYER_CELL_VIEW_SHIFT), LAYER_CELL_TABLE_SHIFT);
#else
        c[j] = (int16_t)net_cell16(keep_Q16, c[j], add_Q16, candidate_Q15, LAYER_CELL_SHIFT);
        seen_Q15 = net_tanh_Q15(c[j], LAYER_CELL_TABLE_SHIFT);
#endif
        next_Q15[j] = (int16_t)net_scale_Q16(open_Q16, seen_Q15);
    }
    for (j = 0; j < LAYER_UNITS; j++) {
        h_Q15[j] = next_Q15[j];
    }
}
