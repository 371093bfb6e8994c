#if NET_ANY_GROUPS == 1
#ifdef NET_DUAL
/* v[0] in the low half, v[1] in the high half; v need not be aligned. */
static inline int32_t net_pair(const int16_t *v)
{
    int32_t pair;

    memcpy(&pair, v, sizeof pair);
    return pair;
}
#endif
#endif

/* The weights of a row lie in groups of four columns. Narrow ones have the order
 * 0, 2, 1, 3, so that a word of them splits into the pairs (0, 1) and (2, 3). The
 * last 1..3 columns of a row are in order. */
#if NET_ANY_W4 == 1
/* Weight at a place of a group. int4: stored as w + 8, two in a byte, the first
 * in the low half. */
#define NET_WEIGHT_W4(w, place) \
    ((int16_t)((NET_ROM_U8(&(w)[(place) >> 1]) >> (4U * ((place) & 1U))) & 15) - 8)

#if NET_GROUPS_W4 == 1
#ifdef NET_DUAL
/* sum + w * v over a group of four. */
static inline int32_t net_group_w4(int32_t sum, const uint8_t *w, const int16_t *v)
{
    const uint32_t halves = (uint32_t)w[0] | ((uint32_t)w[1] << 8);
    const uint32_t spread = halves | (halves << 8);
    const int32_t pair01 = __ssub16((int32_t)(spread & UINT32_C(0x000F000F)), INT32_C(0x00080008));
    const int32_t pair23 = __ssub16((int32_t)((spread >> 4) & UINT32_C(0x000F000F)), INT32_C(0x00080008));

    return __smlad(pair23, net_pair(&v[2]), __smlad(pair01, net_pair(&v[0]), sum));
}
#endif

#ifdef NET_ROW_BY_ROW
/* Sum of w * v over the groups of a row; gap: from one group to the next. The
 * products of w with the low and the high byte of v are summed apart:
 * |sum of w * high byte| <= 128 * sum |w| < 2^23, two such products fit 16 bits;
 * |sum of w * low byte| <= 255 * 127 * columns, which 24 bits hold up to 257 columns. */
static int32_t net_row_w4(const uint8_t *w, uint8_t gap, const int16_t *v, uint16_t groups)
{
    const uint8_t *x = (const uint8_t *)v;
#if NET_LONG_ROWS == 1
    int32_t low = 0;
#else
    __int24 low = 0;
#endif
    __int24 high = 0;
    uint8_t two;

    do {
        int16_t pair;
        int8_t a;
        int8_t b;

        two = NET_ROM_U8(&w[0]);
        a = (int8_t)((int8_t)(two & 15U) - 8);
        low += (int16_t)(a * x[0]);
        pair = (int16_t)(a * (int8_t)x[1]);
        b = (int8_t)((int8_t)(two >> 4) - 8);
        low += (int16_t)(b * x[4]);
        pair = (int16_t)(pair + (b * (int8_t)x[5]));
        high += pair;
        two = NET_ROM_U8(&w[1]);
        a = (int8_t)((int8_t)(two & 15U) - 8);
        low += (int16_t)(a * x[2]);
        pair = (int16_t)(a * (int8_t)x[3]);
        b = (int8_t)((int8_t)(two >> 4) - 8);
        low += (int16_t)(b * x[6]);
        pair = (int16_t)(pair + (b * (int8_t)x[7]));
        high += pair;
        w += 2U + gap;
        x += 8;
        groups--;
    } while (groups > 0U);
    return (int32_t)low + ((int32_t)high * 256);
}
#endif
#endif
#endif

#if NET_ANY_W8 == 1
/* Weight at a place of a group. int8. */
#define NET_WEIGHT_W8(w, place) NET_ROM_I8(&(w)[place])

#if NET_GROUPS_W8 == 1
#ifdef NET_DUAL
/* sum + w * v over a group of four. */
static inline int32_t net_group_w8(int32_t sum, const int8_t *w, const int16_t *v)
{
    int32_t word;

    memcpy(&word, w, sizeof word);
    sum = __smlad(__sxtb16(word), net_pair(&v[0]), sum);
    return __smlad(__sxtb16((int32_t)((uint32_t)word >> 8)), net_pair(&v[2]), sum);
}
#endif

#ifdef NET_ROW_BY_ROW
/* Sum of w * v over the groups of a row; gap: from one group to the next. The
 * products of w with the low and the high byte of v are summed apart:
 * |sum of w * high byte| <= 128 * sum |w| < 2^23, two such products fit 16 bits;
 * |sum of w * low byte| <= 255 * 127 * columns, which 24 bits hold up to 257 columns. */
static int32_t net_row_w8(const int8_t *w, uint8_t gap, const int16_t *v, uint16_t groups)
{
    const uint8_t *x = (const uint8_t *)v;
#if NET_LONG_ROWS == 1
    int32_t low = 0;
#else
    __int24 low = 0;
#endif
    __int24 high = 0;

    do {
        int16_t pair;
        int8_t a;
        int8_t b;

        a = NET_ROM_I8(&w[0]);
        low += (int16_t)(a * x[0]);
        pair = (int16_t)(a * (int8_t)x[1]);
        b = NET_ROM_I8(&w[1]);
        low += (int16_t)(b * x[4]);
        pair = (int16_t)(pair + (b * (int8_t)x[5]));
        high += pair;
        a = NET_ROM_I8(&w[2]);
        low += (int16_t)(a * x[2]);
        pair = (int16_t)(a * (int8_t)x[3]);
        b = NET_ROM_I8(&w[3]);
        low += (int16_t)(b * x[6]);
        pair = (int16_t)(pair + (b * (int8_t)x[7]));
        high += pair;
        w += 4U + gap;
        x += 8;
        groups--;
    } while (groups > 0U);
    return (int32_t)low + ((int32_t)high * 256);
}
#endif
#endif
#endif

#if NET_ANY_W16 == 1
/* Weight at a place of a group. int16. */
#define NET_WEIGHT_W16(w, place) NET_ROM_I16(&(w)[place])

#if NET_GROUPS_W16 == 1
#ifdef NET_DUAL
/* sum + w * v over a group of four. */
static inline int32_t net_group_w16(int32_t sum, const int16_t *w, const int16_t *v)
{
    sum = __smlad(net_pair(&w[0]), net_pair(&v[0]), sum);
    return __smlad(net_pair(&w[2]), net_pair(&v[2]), sum);
}
#endif

#ifdef NET_ROW_BY_ROW
/* Sum of w * v over the groups of a row; gap: from one group to the next. */
static int32_t net_row_w16(const int16_t *w, uint8_t gap, const int16_t *v, uint16_t groups)
{
    int32_t sum = 0;

    do {
        uint8_t c;

        for (c = 0; c < 4U; c++) {
            sum += (int32_t)NET_ROM_I16(w) * *v;
            w++;
            v++;
        }
        w += gap;
        groups--;
    } while (groups > 0U);
    return sum;
}
#endif
#endif
#endif
