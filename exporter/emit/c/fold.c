/* One turn of sines times FOLD_SCALE; FOLD_COSINE further on they are cosines. Mirrored places
 * have the same amount. */
/*@table*/

#if FOLD_EVEN == 1
/* Sums that are half a turn apart: their sum and their difference take their places. */
static inline void fold_half(FOLD_SUM *sum)
{
    const FOLD_SUM a = sum[0];
    const FOLD_SUM b = sum[FOLD_SPAN];

    sum[0] = (FOLD_SUM)(a + b);
    sum[FOLD_SPAN] = (FOLD_SUM)(a - b);
}

/* Adds and subtracts sums whose factors differ in their sign alone, in place. What cosines
 * multiply lies at the start, what sines multiply at the end: in the first half that of even
 * harmonics, in the second that of odd ones. Returns the sum of the window. */
static int32_t fold_pair(FOLD_SUM *sums)
{
    FOLD_SUM *ahead = &sums[1];
    FOLD_SUM *back = &sums[FOLD_SPAN - 1U];
    int32_t sum;

    fold_half(sums);
    sum = sums[0];
    for (; ahead < back; ahead++, back--) {
        const FOLD_SUM a = ahead[0];
        const FOLD_SUM b = back[0];
        const FOLD_SUM c = ahead[FOLD_SPAN];
        const FOLD_SUM d = back[FOLD_SPAN];
        const FOLD_SUM both = (FOLD_SUM)((a + c) + (b + d));

        ahead[0] = both;
        back[0] = (FOLD_SUM)((a + c) - (b + d));
        ahead[FOLD_SPAN] = (FOLD_SUM)((a - c) - (b - d));
        back[FOLD_SPAN] = (FOLD_SUM)((a - c) + (b - d));
        sum += both;
    }
#if FOLD_CENTRE == 1
    fold_half(ahead);
    sum += ahead[0];
#endif
    return sum;
}
#else
/* Adds and subtracts sums whose factors differ in their sign alone, in place. What cosines
 * multiply lies at the start, what sines multiply at the end. Returns the sum of the window. */
static int32_t fold_pair(FOLD_SUM *sums)
{
    FOLD_SUM *ahead = &sums[1];
    FOLD_SUM *back = &sums[FOLD_SPAN - 1U];
    int32_t sum = sums[0];

    for (; ahead < back; ahead++, back--) {
        const FOLD_SUM a = ahead[0];
        const FOLD_SUM b = back[0];
        const FOLD_SUM both = (FOLD_SUM)(a + b);

        ahead[0] = both;
        back[0] = (FOLD_SUM)(a - b);
        sum += both;
    }
    return sum;
}
#endif

/* Length and angle of harmonic k of the sums that fold_pair leaves. */
static NET_APART_IF_SHORT uint32_t fold_line(const FOLD_SUM *sums, uint_fast16_t k, uint32_t *angle)
{
    const uint_fast16_t step = FOLD_STEP;
    uint_fast16_t at = step;
#if FOLD_EVEN == 1
    const FOLD_SUM *const half = &sums[(k & 1U) * FOLD_SPAN];
#else
    const FOLD_SUM *const half = sums;
#endif
    const FOLD_SUM *ahead = &half[1];
    const FOLD_SUM *back = &half[FOLD_SPAN - 1U];
    FOLD_TOTAL re = (FOLD_TOTAL)half[0] * FOLD_SCALE;
    FOLD_TOTAL im = 0;
#if FOLD_WIDE == 1
    uint64_t size;
    int_fast8_t over = 0;
#endif

    do { /* where they meet one of the factors is 0 */
        const int16_t *const turn = &fold_turn[at];

        re += (FOLD_TOTAL)*ahead * NET_ROM_I16(&turn[FOLD_COSINE]);
        im -= (FOLD_TOTAL)*back * NET_ROM_I16(turn);
        ahead++;
        back--;
        at = FOLD_TURN(at + step);
    } while (ahead <= back);
#if FOLD_WIDE == 1
    size = (uint64_t)(re ^ (re >> 63)) | (uint64_t)(im ^ (im >> 63)); /* about */
    while (size >= (UINT64_C(1) << 29)) {
        size >>= 1;
        over++;
    }
    return net_polar((int32_t)(re >> (uint8_t)over), (int32_t)(im >> (uint8_t)over), (int_fast8_t)(FOLD_DOWN - over), angle);
#else
    return net_polar(re, im, FOLD_DOWN, angle);
#endif
}

#if NET_USES_PHASE == 1
/* Makes the lines of the harmonics that are listed, with angles where NET_WITH_ANGLE says so:
 * 0 where the length is below the floor. Returns the sum of the window. */
static NET_APART int32_t fold_lines(FOLD_SUM *sums, const net_listed *list, uint32_t *lengths, uint32_t *angles, uint32_t floor)
{
    const int32_t sum = fold_pair(sums);

    for (;;) {
        const uint_fast16_t listed = NET_LISTED(list);

        if (listed == 0U) {
            break;
        }
        *lengths = fold_line(sums, listed & ~NET_WITH_ANGLE, ((listed & NET_WITH_ANGLE) != 0U) ? angles : NULL);
        if ((listed & NET_WITH_ANGLE) != 0U) {
            if (*lengths < floor) {
                *angles = 0;
            }
            angles++;
        }
        lengths++;
        list++;
    }
    return sum;
}
#else
/* Makes the lines of the harmonics that are listed. Returns the sum of the window. */
static NET_APART int32_t fold_lines(FOLD_SUM *sums, const net_listed *list, uint32_t *lengths)
{
    const int32_t sum = fold_pair(sums);

    for (;;) {
        const uint_fast16_t k = NET_LISTED(list);

        if (k == 0U) {
            break;
        }
        *lengths = fold_line(sums, k, NULL);
        lengths++;
        list++;
    }
    return sum;
}
#endif
