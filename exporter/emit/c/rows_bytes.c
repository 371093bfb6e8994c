/* Adds w * v of four columns to two rows; int4 weights, raised. */
static void net_four_w4(int32_t *row0, int32_t *row1, const uint8_t *w, const int16_t *v)
{
    uint8_t c;

    for (c = 0; c < 2U; c++) {
        const uint8_t rows0 = NET_ROM_U8(&w[2U * c]);
        const uint8_t rows1 = NET_ROM_U8(&w[(2U * c) + 1U]);

        *row0 += (int32_t)(rows0 & 15U) * v[c];
        *row0 += (int32_t)(rows0 >> 4) * v[c + 2U];
        *row1 += (int32_t)(rows1 & 15U) * v[c];
        *row1 += (int32_t)(rows1 >> 4) * v[c + 2U];
    }
}

/* Sums of two rows of int8 weights. */
typedef struct {
    int32_t row0;
    int32_t row1;
} net_two_rows;

/* start: of row 0. */
static inline void net_start_w8(net_two_rows *sums, int32_t start)
{
    sums->row0 = start;
    sums->row1 = 0;
}

/* Weight of row 1 out of a pair of bytes. */
static inline int8_t net_upper_w8(const uint8_t *w)
{
    return (int8_t)(uint8_t)(NET_ROM_U8(&w[1]) + ((NET_ROM_I8(&w[0]) < 0) ? 1U : 0U));
}

/* Adds w * v of columns, byte by byte.
 * |sum of w * byte| <= 127 * 255 * columns, which 24 bits hold up to 254 columns. */
static NET_APART void net_columns_w8(net_two_rows *sums, const uint8_t *w, const int16_t *v, uint8_t columns)
{
    const uint8_t *x = (const uint8_t *)v;
    uint8_t left = columns;
    __int24 low0 = 0;
    __int24 high0 = 0;
    __int24 low1 = 0;
    __int24 high1 = 0;

    do {
        const int8_t w0 = NET_ROM_I8(&w[0]);
        const int8_t w1 = net_upper_w8(w);
        const uint8_t x_low = *x++;
        const int8_t x_high = (int8_t)*x++;

        low0 += (int16_t)(w0 * x_low);
        high0 += (int16_t)(w0 * x_high);
        low1 += (int16_t)(w1 * x_low);
        high1 += (int16_t)(w1 * x_high);
        w += 2;
        left--;
    } while (left != 0U);
    sums->row0 += (int32_t)low0 + ((int32_t)high0 * 256);
    sums->row1 += (int32_t)low1 + ((int32_t)high1 * 256);
}

/* The same with one column. */
static inline void net_one_w8(net_two_rows *sums, const uint8_t *w, int16_t x)
{
    sums->row0 += (int32_t)NET_ROM_I8(&w[0]) * x;
    sums->row1 += (int32_t)net_upper_w8(w) * x;
}

/* Row 1; start is its bias. */
static inline int32_t net_row1_w8(const net_two_rows *sums, int32_t start)
{
    return start + sums->row1;
}

/* Adds w * v of two columns to two rows; int16 weights. */
static void net_two_w16(int32_t *row0, int32_t *row1, const int16_t *w, const int16_t *v)
{
    *row0 += (int32_t)NET_ROM_I16(&w[0]) * v[0];
    *row0 += (int32_t)NET_ROM_I16(&w[1]) * v[1];
    *row1 += (int32_t)NET_ROM_I16(&w[2]) * v[0];
    *row1 += (int32_t)NET_ROM_I16(&w[3]) * v[1];
}

/* The same with one column. */
static inline void net_one_w16(int32_t *row0, int32_t *row1, const int16_t *w, int16_t x)
{
    *row0 += (int32_t)NET_ROM_I16(&w[0]) * x;
    *row1 += (int32_t)NET_ROM_I16(&w[1]) * x;
}
