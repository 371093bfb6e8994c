/* Weight of a stored row and column of ROWS_GROUP. */
static int32_t ROWS_NAME_weight(const ROWS_GROUP *groups, uint16_t row, uint16_t column)
{
    const uint16_t r = (uint16_t)(row % 4U);
    const uint16_t c = (uint16_t)(column % 2U);
#if ROWS_BITS == 4
    const uint8_t byte = NET_ROM_U8(&groups[row / 4U].w[((column / 2U) * 4U) + (c * 2U) + (r / 2U)]);
    const uint8_t half = (uint8_t)(((r % 2U) == 0U) ? (byte & 15U) : ((uint8_t)(byte >> 4) & 15U));

    return (NET_FILL_W4 != 0) ? ((int32_t)half - 8) : ((int32_t)(half ^ 8U) - 8);
#endif
#if ROWS_BITS == 8
    const uint8_t *const tile = &groups[row / 4U].w[(column / 2U) * 8U];
#if defined(NET_KERNEL_ARMV7EM)
    const uint8_t *const pair = &tile[((r / 2U) * 4U) + (c * 2U)];
    const int32_t first = (int32_t)(int8_t)NET_ROM_U8(&pair[0]);
    const int32_t second = (int32_t)(int8_t)NET_ROM_U8(&pair[1]) + ((first < 0) ? 1 : 0);

    return ((r % 2U) == 0U) ? first : second;
#else
    const uint8_t byte = NET_ROM_U8(&tile[(c * 4U) + r]);

    return (NET_FILL_W8 != 0) ? ((int32_t)byte - 128) : (int32_t)(int8_t)byte;
#endif
#endif
#if ROWS_BITS == 16
    const int16_t *const tile = &groups[row / 4U].w[(column / 2U) * 8U];
#if defined(NET_KERNEL_ARMV7EM)
    const int32_t v = NET_ROM_I16(&tile[(r * 2U) + c]);
#else
    const int32_t v = NET_ROM_I16(&tile[(c * 4U) + r]);
#endif

    return (NET_FILL_W16 != 0) ? (v + ((v < 0) ? 32768 : -32768)) : v;
#endif
}

/* Continues a CRC-32 with values of n rows, stride apart from the first: part 0 with weights, 1
 * with biases, 2 with shifts. */
static uint32_t ROWS_NAME_crc(uint32_t crc, const ROWS_GROUP *groups, uint16_t first, uint16_t stride,
                              uint16_t n, uint8_t part)
{
    uint32_t sum = crc;
    uint16_t row = first;
    uint16_t left;

    for (left = n; left > 0U; left--) {
        const uint8_t shift = NET_ROM_U8(&groups[row / 4U].shift[row % 4U]);
        uint16_t column;

        if (part == 0U) {
            for (column = 0; column < ROWS_COLUMNS; column++) {
                sum = net_crc32_of(sum, (uint32_t)ROWS_NAME_weight(groups, row, column), ROWS_BYTES);
            }
        } else if (part == 1U) { /* without the half that rounds */
            sum = net_crc32_of(sum, (uint32_t)NET_ROM_I32(&groups[row / 4U].bias[row % 4U])
                                        - ((UINT32_C(1) << (shift & 31U)) >> 1), 4U);
        } else {
            sum = net_crc32(sum, shift);
        }
        row = (uint16_t)(row + stride);
    }
    return sum;
}

/* Returns 1 if what fills up the last group and tiles is what the export has there, else 0. */
static uint8_t ROWS_NAME_filled(const ROWS_GROUP *groups, uint16_t rows)
{
    uint8_t ok = 1;
    uint16_t row;

    for (row = 0; row < (4U * ((rows + 3U) / 4U)); row++) {
        uint16_t column = 0;

        if (row < rows) {
            column = ROWS_COLUMNS;
        }
        for (; column < ROWS_FILLED; column++) {
            const int32_t want = (column < ROWS_COLUMNS) ? 0 : NET_FILL_WROWS_BITS;

            ok = (ROWS_NAME_weight(groups, row, column) == want) ? ok : 0U;
        }
        if ((row >= rows) && ((NET_ROM_I32(&groups[row / 4U].bias[row % 4U]) != 0)
                              || (NET_ROM_U8(&groups[row / 4U].shift[row % 4U]) != 0U))) {
            ok = 0;
        }
    }
    return ok;
}
