/* The i-th int4 weight, not raised. */
static int32_t net_weight_w4(const uint8_t *w, uint_fast16_t i)
{
    const uint8_t pair = NET_ROM_U8(&w[i >> 1]);
    const uint8_t half = (uint8_t)(((i & 1U) != 0U) ? (pair >> 4) : (pair & 15U));

    return (int32_t)(half ^ 8U) - 8;
}

/* start + sum of w * v over one row; int4 weights. */
static int32_t net_row_w4(int32_t start, const uint8_t *w, const int16_t *v, uint_fast16_t columns)
{
    int32_t sum = start;
    uint_fast16_t i;

    for (i = 0; i < columns; i++) {
        sum += net_weight_w4(w, i) * v[i];
    }
    return sum;
}

/* start + sum of w * v over one row; int8 weights. */
static int32_t net_row_w8(int32_t start, const uint8_t *w, const int16_t *v, uint_fast16_t columns)
{
    int32_t sum = start;
    uint_fast16_t left = columns;

    while (left >= 4U) {
        sum += (int32_t)NET_ROM_I8(&w[0]) * v[0];
        sum += (int32_t)NET_ROM_I8(&w[1]) * v[1];
        sum += (int32_t)NET_ROM_I8(&w[2]) * v[2];
        sum += (int32_t)NET_ROM_I8(&w[3]) * v[3];
        w += 4;
        v += 4;
        left -= 4U;
    }
    while (left > 0U) {
        sum += (int32_t)NET_ROM_I8(w) * *v;
        w++;
        v++;
        left--;
    }
    return sum;
}

/* start + sum of w * v over one row; int16 weights. */
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
