#if MATRIX_ROWS == 1
/* Row of W v + b. */
#if MATRIX_RESCALED == 1
static int_fast16_t matrix_one(uint16_t row, const int16_t *v)
#else
static int32_t matrix_one(uint16_t row, const int16_t *v)
#endif
#endif
#if MATRIX_ROWS == 2
/* Two rows of W v + b, which lie together. */
static void matrix_two(int_fast16_t result[2], uint16_t row, const int16_t *v)
#endif
#if MATRIX_ROWS == 3
/* Three rows of W v + b, which lie together. */
static void matrix_three(int_fast16_t result[3], uint16_t row, const int16_t *v)
#endif
{
    const matrix_word *w = &matrix_w[(size_t)row * MATRIX_STRIDE];
    int32_t sum0 = NET_ROM_I32(&matrix_b[row]);
#if MATRIX_ROWS == 2
    int32_t sum1 = NET_ROM_I32(&matrix_b[row + 1U]);
#endif
#if MATRIX_ROWS == 3
    int32_t sum1 = NET_ROM_I32(&matrix_b[row + 1U]);
    int32_t sum2 = NET_ROM_I32(&matrix_b[row + 2U]);
#endif
#if MATRIX_LOOP == 1
#ifdef NET_ROW_BY_ROW
    sum0 += matrix_row(w, MATRIX_GAP, v, MATRIX_GROUPS);
#if MATRIX_ROWS == 2
    sum1 += matrix_row(&w[MATRIX_GROUP], MATRIX_GAP, v, MATRIX_GROUPS);
#endif
#if MATRIX_ROWS == 3
    sum1 += matrix_row(&w[MATRIX_GROUP], MATRIX_GAP, v, MATRIX_GROUPS);
    sum2 += matrix_row(&w[2U * MATRIX_GROUP], MATRIX_GAP, v, MATRIX_GROUPS);
#endif
#if MATRIX_TAIL == 1
    w += MATRIX_SPAN;
    v += 4U * MATRIX_GROUPS;
#endif
#else
    const matrix_word *const end = &w[MATRIX_SPAN];

    while (w != end) {
#ifdef NET_DUAL
        sum0 = matrix_group(sum0, w, v);
#if MATRIX_ROWS == 2
        sum1 = matrix_group(sum1, &w[MATRIX_GROUP], v);
#endif
#if MATRIX_ROWS == 3
        sum1 = matrix_group(sum1, &w[MATRIX_GROUP], v);
        sum2 = matrix_group(sum2, &w[2U * MATRIX_GROUP], v);
#endif
#else
        int16_t x;

        x = v[0];
        sum0 += (int32_t)MATRIX_WEIGHT(w, MATRIX_PLACE_0) * x;
#if MATRIX_ROWS == 2
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_0) * x;
#endif
#if MATRIX_ROWS == 3
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_0) * x;
        sum2 += (int32_t)MATRIX_WEIGHT(&w[2U * MATRIX_GROUP], MATRIX_PLACE_0) * x;
#endif
        x = v[1];
        sum0 += (int32_t)MATRIX_WEIGHT(w, MATRIX_PLACE_1) * x;
#if MATRIX_ROWS == 2
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_1) * x;
#endif
#if MATRIX_ROWS == 3
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_1) * x;
        sum2 += (int32_t)MATRIX_WEIGHT(&w[2U * MATRIX_GROUP], MATRIX_PLACE_1) * x;
#endif
        x = v[2];
        sum0 += (int32_t)MATRIX_WEIGHT(w, MATRIX_PLACE_2) * x;
#if MATRIX_ROWS == 2
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_2) * x;
#endif
#if MATRIX_ROWS == 3
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_2) * x;
        sum2 += (int32_t)MATRIX_WEIGHT(&w[2U * MATRIX_GROUP], MATRIX_PLACE_2) * x;
#endif
        x = v[3];
        sum0 += (int32_t)MATRIX_WEIGHT(w, MATRIX_PLACE_3) * x;
#if MATRIX_ROWS == 2
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_3) * x;
#endif
#if MATRIX_ROWS == 3
        sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_GROUP], MATRIX_PLACE_3) * x;
        sum2 += (int32_t)MATRIX_WEIGHT(&w[2U * MATRIX_GROUP], MATRIX_PLACE_3) * x;
#endif
#endif
        w += MATRIX_ROWS * MATRIX_GROUP;
        v += 4;
    }
#endif
#endif
#if MATRIX_TAIL == 1
    {
        uint8_t place;

        for (place = 0; place < MATRIX_LEFT; place++) {
            sum0 += (int32_t)MATRIX_WEIGHT(w, place) * v[place];
#if MATRIX_ROWS == 2
            sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_LEFT_WORDS], place) * v[place];
#endif
#if MATRIX_ROWS == 3
            sum1 += (int32_t)MATRIX_WEIGHT(&w[MATRIX_LEFT_WORDS], place) * v[place];
            sum2 += (int32_t)MATRIX_WEIGHT(&w[2U * MATRIX_LEFT_WORDS], place) * v[place];
#endif
        }
    }
#endif

#if MATRIX_ROWS == 1
#if MATRIX_RESCALED == 1
    return net_result(sum0, NET_ROM_U8(&matrix_shift[row]));
#else
    return sum0;
#endif
#endif
#if MATRIX_ROWS == 2
    result[0] = net_result(sum0, NET_ROM_U8(&matrix_shift[row]));
    result[1] = net_result(sum1, NET_ROM_U8(&matrix_shift[row + 1U]));
#endif
#if MATRIX_ROWS == 3
    result[0] = net_result(sum0, NET_ROM_U8(&matrix_shift[row]));
    result[1] = net_result(sum1, NET_ROM_U8(&matrix_shift[row + 1U]));
    result[2] = net_result(sum2, NET_ROM_U8(&matrix_shift[row + 2U]));
#endif
}
