#if NET_ANY_ROWS == 1
/* How weights lie. Several rows of a matrix are read together, so that an input is
 * loaded once for all of them; their weights lie column by column:
 *  - two rows where a core multiplies two pairs at once (NET_DUAL)
 *      int4   four bytes per four columns; bits 0, 4, 8, 12 of a 32-bit word hold row 0
 *             of columns 0 and 2, row 1 of columns 0 and 2, bits 16 and up columns 1 and 3
 *      int8   row 0, row 1 of each column
 *      int16  two columns of row 0, then of row 1
 *  - else three rows
 *      int4   a byte per row and two columns, the first in the low half
 *      int8, int16  row 0, 1, 2 of each column
 * A last odd column, and the last one to three of int4 with NET_DUAL, follow row by row.
 * Such int4 weights are stored raised by 8; int8 weights by 128, with NET_DUAL those of row 0
 * only. The sum of the inputs takes that off again.
 * Rows that are left at the end lie one after the other, not raised. */

#endif
#if NET_ANY_RAISED == 1
/* Sum of v. */
static int32_t net_sum(const int16_t *v, uint_fast16_t n)
{
    const int16_t *x = v;
    const int16_t *const end = &v[n];
    int32_t sum = 0;

#ifdef NET_DUAL
    const int16_t *const end4 = &v[n & ~3U];

    while (x != end4) {
        const int32_t x01 = net_pair(&x[0]);
        const int32_t x23 = net_pair(&x[2]);

        sum = __smlad(x01, INT32_C(0x00010001), sum);
        sum = __smlad(x23, INT32_C(0x00010001), sum);
        x += 4;
    }
#endif
    while (x != end) {
        sum += *x;
        x++;
    }
    return sum;
}

#endif
#if NET_WEIGHT_W4 == 1
/* The i-th int4 weight, not raised. */
static int32_t net_weight_w4(const uint8_t *w, uint_fast16_t i)
{
    const uint8_t pair = NET_ROM_U8(&w[i >> 1]);
    const uint8_t half = (uint8_t)(((i & 1U) != 0U) ? (pair >> 4) : (pair & 15U));

    return (int32_t)(half ^ 8U) - 8;
}

#endif
#if NET_ROW_W4 == 1
/* start + sum of w * v over one row. */
static int32_t net_row_w4(int32_t start, const uint8_t *w, const int16_t *v, uint_fast16_t columns)
{
    int32_t sum = start;
    uint_fast16_t i;

    for (i = 0; i < columns; i++) {
        sum += net_weight_w4(w, i) * v[i];
    }
    return sum;
}

#endif
#if NET_ROW_W8 == 1
/* start + sum of w * v over one row. */
static int32_t net_row_w8(int32_t start, const uint8_t *w, const int16_t *v, uint_fast16_t columns)
{
    int32_t sum = start;
    uint_fast16_t i;

    for (i = 0; i < columns; i++) {
        sum += (int32_t)NET_ROM_I8(&w[i]) * v[i];
    }
    return sum;
}

#endif
#if NET_ROW_W16 == 1
/* start + sum of w * v over one row. */
static int32_t net_row_w16(int32_t start, const int16_t *w, const int16_t *v, uint_fast16_t columns)
{
    int32_t sum = start;
    uint_fast16_t left = columns;

#ifdef NET_DUAL
    while (left >= 4U) {
        const int32_t w01 = net_pair(&w[0]);
        const int32_t w23 = net_pair(&w[2]);
        const int32_t v01 = net_pair(&v[0]);
        const int32_t v23 = net_pair(&v[2]);

        sum = __smlad(w01, v01, sum);
        sum = __smlad(w23, v23, sum);
        w += 4;
        v += 4;
        left -= 4U;
    }
#endif
    while (left > 0U) {
        sum += (int32_t)NET_ROM_I16(w) * *v;
        w++;
        v++;
        left--;
    }
    return sum;
}

#endif
#ifdef NET_DUAL
#if NET_ROWS_W4 == 1
/* Adds w * v of four columns to two rows; w is raised. */
static inline void net_four_w4(int32_t *row0, int32_t *row1, const uint8_t *w, const int16_t *v)
{
    const int32_t x01 = net_pair(&v[0]);
    const int32_t x23 = net_pair(&v[2]);
    const uint32_t word = net_word(w);

    *row0 = __smlad((int32_t)(word & UINT32_C(0x000F000F)), x01, *row0);
    *row0 = __smlad((int32_t)((word >> 4) & UINT32_C(0x000F000F)), x23, *row0);
    *row1 = __smlad((int32_t)((word >> 8) & UINT32_C(0x000F000F)), x01, *row1);
    *row1 = __smlad((int32_t)((word >> 12) & UINT32_C(0x000F000F)), x23, *row1);
}

#endif
#if NET_ROWS_W8 == 1
/* Adds w * v of four columns to two rows; w of row 0 is raised. A pair of bytes is
 * read as one number too, w0 + 256 * w1: rows01 is the sum of row 0 + 256 * row 1. */
static inline void net_four_w8(int32_t *row0, int64_t *rows01, const uint8_t *w, const int16_t *v)
{
    const int32_t x01 = net_pair(&v[0]);
    const int32_t x23 = net_pair(&v[2]);
    const uint32_t w01 = net_word(&w[0]);
    const uint32_t w23 = net_word(&w[4]);

    *rows01 = __smlald((int32_t)w01, x01, *rows01);
    *row0 = __smlad((int32_t)__uxtb16(w01), x01, *row0);
    *rows01 = __smlald((int32_t)w23, x23, *rows01);
    *row0 = __smlad((int32_t)__uxtb16(w23), x23, *row0);
}

/* The same with two columns. */
static inline void net_two_w8(int32_t *row0, int64_t *rows01, const uint8_t *w, const int16_t *v)
{
    const int32_t x = net_pair(v);
    const uint32_t word = net_word(w);

    *rows01 = __smlald((int32_t)word, x, *rows01);
    *row0 = __smlad((int32_t)__uxtb16(word), x, *row0);
}

/* The same with one column, not raised. */
static inline void net_one_w8(int32_t *row0, int64_t *rows01, const uint8_t *w, int32_t x)
{
    const int32_t w0 = (int8_t)w[0];

    *row0 += w0 * x;
    *rows01 += (w0 + (256 * (int32_t)(int8_t)w[1])) * x;
}

/* Row 1 out of row 0 + 256 * row 1, plus its bias. */
static inline int32_t net_row1_w8(int32_t row0, int64_t rows01, int32_t bias)
{
    return (int32_t)((uint32_t)bias + (uint32_t)(rows01 >> 8) - (uint32_t)(row0 >> 8));
}

#endif
#if NET_ROWS_W16 == 1
/* Adds w * v of two columns to two rows. */
static inline void net_two_w16(int32_t *row0, int32_t *row1, const int16_t *w, const int16_t *v)
{
    const int32_t x = net_pair(v);

    *row0 = __smlad(net_pair(&w[0]), x, *row0);
    *row1 = __smlad(net_pair(&w[2]), x, *row1);
}

/* The same with one column. */
static inline void net_one_w16(int32_t *row0, int32_t *row1, const int16_t *w, int32_t x)
{
    *row0 += w[0] * x;
    *row1 += w[1] * x;
}

#endif
#else
#if NET_ANY_ROWS == 1
/* Sums of three rows. */
typedef struct {
    int32_t row0;
    int32_t row1;
    int32_t row2;
} net_three;

#endif
#if NET_ROWS_W4 == 1
/* Adds w * v of two columns to three rows; w is raised. */
static inline void net_two_w4(net_three *sums, const uint8_t *w, const int16_t *v)
{
    const int32_t x0 = v[0];
    const int32_t x1 = v[1];
    uint8_t pair = NET_ROM_U8(&w[0]);

    sums->row0 += (int32_t)(pair & 15U) * x0;
    sums->row0 += (int32_t)(pair >> 4) * x1;
    pair = NET_ROM_U8(&w[1]);
    sums->row1 += (int32_t)(pair & 15U) * x0;
    sums->row1 += (int32_t)(pair >> 4) * x1;
    pair = NET_ROM_U8(&w[2]);
    sums->row2 += (int32_t)(pair & 15U) * x0;
    sums->row2 += (int32_t)(pair >> 4) * x1;
}

/* The same with one column, not raised. */
static inline void net_one_w4(net_three *sums, const uint8_t *w, int32_t x)
{
    sums->row0 += net_weight_w4(&w[0], 0) * x;
    sums->row1 += net_weight_w4(&w[1], 0) * x;
    sums->row2 += net_weight_w4(&w[2], 0) * x;
}

#endif
#if NET_ROWS_W8 == 1
/* Adds w * x of one column to three rows; w is raised. */
static inline void net_one_w8(net_three *sums, const uint8_t *w, int32_t x)
{
    sums->row0 += (int32_t)NET_ROM_U8(&w[0]) * x;
    sums->row1 += (int32_t)NET_ROM_U8(&w[1]) * x;
    sums->row2 += (int32_t)NET_ROM_U8(&w[2]) * x;
}

#endif
#if NET_ROWS_W16 == 1
/* Adds w * x of one column to three rows. */
static inline void net_one_w16(net_three *sums, const int16_t *w, int32_t x)
{
    sums->row0 += (int32_t)NET_ROM_I16(&w[0]) * x;
    sums->row1 += (int32_t)NET_ROM_I16(&w[1]) * x;
    sums->row2 += (int32_t)NET_ROM_I16(&w[2]) * x;
}

#endif
#endif

