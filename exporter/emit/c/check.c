/* What the section says of itself: format hash, CRC-32 of the values, and a CRC-32 of the id and
 * both of them. */
static const uint32_t net_check_words[3] NET_ROM = { NET_FORMAT_HASH, NET_VALUES_CRC, NET_SEAL };

/* One of net_check_words, read where it lies. */
static uint32_t net_check_word(uint8_t i)
{
    return (uint32_t)NET_ROM_I32((const volatile uint32_t *)&net_check_words[i]);
}

/* Continues a CRC-32 with the low bytes of a value, low byte first. */
static uint32_t net_crc32_of(uint32_t crc, uint32_t value, uint8_t bytes)
{
    uint32_t sum = crc;
    uint32_t rest = value;
    uint8_t left;

    for (left = bytes; left > 0U; left--) {
        sum = net_crc32(sum, (uint8_t)(rest & 255U));
        rest >>= 8;
    }
    return sum;
}

/* A stored 0 beyond the last column, as a weight: raised ones have half of their range taken off. */
#if NET_USES_W4 == 1
#if defined(NET_KERNEL_ARMV7EM) || defined(NET_KERNEL_AVR)
#define NET_FILL_W4 (-8)
#else
#define NET_FILL_W4 0
#endif
#endif
#if NET_USES_W8 == 1
#if defined(NET_KERNEL_ARMV6M) || defined(NET_KERNEL_AVR)
#define NET_FILL_W8 (-128)
#else
#define NET_FILL_W8 0
#endif
#endif
#if NET_USES_W16 == 1
#if defined(NET_KERNEL_ARMV6M)
#define NET_FILL_W16 (-32768)
#else
#define NET_FILL_W16 0
#endif
#endif

