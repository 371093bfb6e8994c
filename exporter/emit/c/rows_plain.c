/* Groups of four rows. */
static NET_APART void ROWS_NAME(ROWS_RESULT *result, const int16_t *v, const ROWS_GROUP *group, uint16_t groups)
{
    uint16_t left = groups;

    do {
        int32_t row0 = NET_ROM_I32(&group->bias[0]);
        int32_t row1 = NET_ROM_I32(&group->bias[1]);
        int32_t row2 = NET_ROM_I32(&group->bias[2]);
        int32_t row3 = NET_ROM_I32(&group->bias[3]);
#if ROWS_BITS == 4
        const uint8_t *w = group->w;
#endif
#if ROWS_BITS == 8
        const uint8_t *w = group->w;
#endif
#if ROWS_BITS == 16
        const int16_t *w = group->w;
#endif
        uint16_t i;

        for (i = 0; i < ROWS_COLUMNS; i++) {
            const int32_t x = v[i];
#if ROWS_BITS == 4
            const uint8_t rows01 = NET_ROM_U8(&w[0]);
            const uint8_t rows23 = NET_ROM_U8(&w[1]);

            row0 += net_low_w4(rows01) * x;
            row1 += net_low_w4((uint8_t)(rows01 >> 4)) * x;
            row2 += net_low_w4(rows23) * x;
            row3 += net_low_w4((uint8_t)(rows23 >> 4)) * x;
            w += 2;
#endif
#if ROWS_BITS == 8

            row0 += NET_ROM_I8(&w[0]) * x;
            row1 += NET_ROM_I8(&w[1]) * x;
            row2 += NET_ROM_I8(&w[2]) * x;
            row3 += NET_ROM_I8(&w[3]) * x;
            w += 4;
#endif
#if ROWS_BITS == 16

            row0 += NET_ROM_I16(&w[0]) * x;
            row1 += NET_ROM_I16(&w[1]) * x;
            row2 += NET_ROM_I16(&w[2]) * x;
            row3 += NET_ROM_I16(&w[3]) * x;
            w += 4;
#endif
        }
#if ROWS_SUMS == 1
        result[0] = row0;
        result[1] = row1;
        result[2] = row2;
        result[3] = row3;
#else
        result[0] = net_result(row0, NET_ROM_U8(&group->shift[0]));
        result[1] = net_result(row1, NET_ROM_U8(&group->shift[1]));
        result[2] = net_result(row2, NET_ROM_U8(&group->shift[2]));
        result[3] = net_result(row3, NET_ROM_U8(&group->shift[3]));
#endif
        result += 4;
        group++;
        left--;
    } while (left != 0U);
}
