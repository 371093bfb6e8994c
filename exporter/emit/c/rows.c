/* How weights lie. Four rows of a matrix are read together, two columns at a time, so that an input
 * is loaded once for four rows. net_weights.h lists such a tile by columns, rows 0 to 3 of each; a
 * tile of the last odd column has no second one. Rows that fill up the last group are 0. How a
 * tile is stored follows from how the core multiplies: */
#if defined(NET_KERNEL_ARMV7EM)
#if NET_USES_W4 == 1
/* int4: raised by 8, which the sum of the inputs takes off again; a byte is two rows. */
#define NET_T4(a, b, c, d, e, f, g, h) \
    NET_NIBBLES((a) + 8, (b) + 8), NET_NIBBLES((c) + 8, (d) + 8), \
    NET_NIBBLES((e) + 8, (f) + 8), NET_NIBBLES((g) + 8, (h) + 8)
#define NET_T4_LAST(a, b, c, d) NET_NIBBLES((a) + 8, (b) + 8), NET_NIBBLES((c) + 8, (d) + 8), 0, 0
#endif
#if NET_USES_W8 == 1
/* int8: a pair of rows is a 16-bit number, the first + 256 * the second, low byte first. */
#define NET_PAIR(a, b) (uint8_t)(a), (uint8_t)((b) - (((a) < 0) ? 1 : 0))
#define NET_T8(a, b, c, d, e, f, g, h) NET_PAIR(a, b), NET_PAIR(e, f), NET_PAIR(c, d), NET_PAIR(g, h)
#define NET_T8_LAST(a, b, c, d) NET_PAIR(a, b), 0, 0, NET_PAIR(c, d), 0, 0
#endif
#if NET_USES_W16 == 1
/* int16: the two columns of a row are a word. */
#define NET_T16(a, b, c, d, e, f, g, h) (a), (e), (b), (f), (c), (g), (d), (h)
#define NET_T16_LAST(a, b, c, d) (a), 0, (b), 0, (c), 0, (d), 0
#endif
#else
#if NET_USES_W4 == 1
#if defined(NET_KERNEL_AVR)
/* int4: raised by 8, which the sum of the inputs takes off again; a byte is two rows. */
#define NET_BITS(v) ((v) + 8)
#else
/* int4: a byte is two rows. */
#define NET_BITS(v) ((v) & 15)
#endif
#define NET_T4(a, b, c, d, e, f, g, h) \
    NET_NIBBLES(NET_BITS(a), NET_BITS(b)), NET_NIBBLES(NET_BITS(c), NET_BITS(d)), \
    NET_NIBBLES(NET_BITS(e), NET_BITS(f)), NET_NIBBLES(NET_BITS(g), NET_BITS(h))
#define NET_T4_LAST(a, b, c, d) \
    NET_NIBBLES(NET_BITS(a), NET_BITS(b)), NET_NIBBLES(NET_BITS(c), NET_BITS(d)), 0, 0
#endif
#if NET_USES_W8 == 1
#if defined(NET_KERNEL_ARMV6M) || defined(NET_KERNEL_AVR)
/* int8: raised by 128, which the sum of the inputs takes off again. */
#define NET_BYTE(v) (uint8_t)((v) + 128)
#else
#define NET_BYTE(v) (uint8_t)(v)
#endif
#define NET_T8(a, b, c, d, e, f, g, h) \
    NET_BYTE(a), NET_BYTE(b), NET_BYTE(c), NET_BYTE(d), NET_BYTE(e), NET_BYTE(f), NET_BYTE(g), NET_BYTE(h)
#define NET_T8_LAST(a, b, c, d) NET_BYTE(a), NET_BYTE(b), NET_BYTE(c), NET_BYTE(d), 0, 0, 0, 0
#endif
#if NET_USES_W16 == 1
#if defined(NET_KERNEL_ARMV6M)
/* int16: raised by 2^15, which the sum of the inputs takes off again. */
#define NET_HALF(v) (int16_t)(((v) < 0) ? ((v) + 32768) : ((v) - 32768))
#else
#define NET_HALF(v) (v)
#endif
#define NET_T16(a, b, c, d, e, f, g, h) \
    NET_HALF(a), NET_HALF(b), NET_HALF(c), NET_HALF(d), NET_HALF(e), NET_HALF(f), NET_HALF(g), NET_HALF(h)
#define NET_T16_LAST(a, b, c, d) NET_HALF(a), NET_HALF(b), NET_HALF(c), NET_HALF(d), 0, 0, 0, 0
#endif
#endif
#if NET_USES_W4 == 1
#define NET_NIBBLES(low, high) (uint8_t)((low) | ((high) << 4))
#endif
