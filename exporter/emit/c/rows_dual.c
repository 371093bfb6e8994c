/* Adds w * v of four columns to two rows; int4 weights, raised. */
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

/* Sums of two rows of int8 weights; rows01 is row 0 + 256 * row 1. */
typedef struct {
    int32_t row0;
    int64_t rows01;
} net_two_rows;

/* start: of row 0. */
static inline void net_start_w8(net_two_rows *sums, int32_t start)
{
    sums->row0 = start;
    sums->rows01 = start;
}

/* Adds w * v of four columns. */
static inline void net_four_w8(net_two_rows *sums, const uint8_t *w, const int16_t *v)
{
    const int32_t x01 = net_pair(&v[0]);
    const int32_t x23 = net_pair(&v[2]);
    const uint32_t w01 = net_word(&w[0]);
    const uint32_t w23 = net_word(&w[4]);

    sums->rows01 = __smlald((int32_t)w01, x01, sums->rows01);
    sums->row0 = __smlad(__sxtb16((int32_t)w01), x01, sums->row0);
    sums->rows01 = __smlald((int32_t)w23, x23, sums->rows01);
    sums->row0 = __smlad(__sxtb16((int32_t)w23), x23, sums->row0);
}

/* The same with two columns. */
static inline void net_two_w8(net_two_rows *sums, const uint8_t *w, const int16_t *v)
{
    const int32_t x = net_pair(v);
    const uint32_t word = net_word(w);

    sums->rows01 = __smlald((int32_t)word, x, sums->rows01);
    sums->row0 = __smlad(__sxtb16((int32_t)word), x, sums->row0);
}

/* The same with one column. */
static inline void net_one_w8(net_two_rows *sums, const uint8_t *w, int16_t x)
{
    sums->row0 += (int32_t)NET_ROM_I8(&w[0]) * x;
    sums->rows01 += ((int32_t)w[0] + (256 * (int32_t)NET_ROM_I8(&w[1]))) * x;
}

/* Row 1; start is its bias. */
static inline int32_t net_row1_w8(const net_two_rows *sums, int32_t start)
{
    return (int32_t)((uint32_t)start + (uint32_t)(sums->rows01 >> 8) - (uint32_t)(sums->row0 >> 8));
}

/* Adds w * v of two columns to two rows; int16 weights. */
static inline void net_two_w16(int32_t *row0, int32_t *row1, const int16_t *w, const int16_t *v)
{
    const int32_t x = net_pair(v);

    *row0 = __smlad(net_pair(&w[0]), x, *row0);
    *row1 = __smlad(net_pair(&w[2]), x, *row1);
}

/* The same with one column. */
static inline void net_one_w16(int32_t *row0, int32_t *row1, const int16_t *w, int16_t x)
{
    *row0 += (int32_t)NET_ROM_I16(&w[0]) * x;
    *row1 += (int32_t)NET_ROM_I16(&w[1]) * x;
}
