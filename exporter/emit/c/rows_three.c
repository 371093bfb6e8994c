/* Sums of three rows. */
typedef struct {
    int32_t row0;
    int32_t row1;
    int32_t row2;
} net_three;

/* Adds w * v of two columns to three rows; int4 weights, raised. */
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

/* Adds w * x of one column to three rows; int8 weights, raised. */
static inline void net_one_w8(net_three *sums, const uint8_t *w, int32_t x)
{
    sums->row0 += (int32_t)NET_ROM_U8(&w[0]) * x;
    sums->row1 += (int32_t)NET_ROM_U8(&w[1]) * x;
    sums->row2 += (int32_t)NET_ROM_U8(&w[2]) * x;
}

/* Adds w * x of one column to three rows; int16 weights. */
static inline void net_one_w16(net_three *sums, const int16_t *w, int32_t x)
{
    sums->row0 += (int32_t)NET_ROM_I16(&w[0]) * x;
    sums->row1 += (int32_t)NET_ROM_I16(&w[1]) * x;
    sums->row2 += (int32_t)NET_ROM_I16(&w[2]) * x;
}
