/* One turn: sine, and the cosine in it, times FOLD_SCALE. */
/*@tables*/

#if FOLD_NEEDS_SUM == 1
/* Sum of a window. */
static int32_t fold_sum(const FOLD_SUM *sums)
{
    int32_t sum = 0;
    uint_fast16_t i;

    for (i = 0; i < FOLD_LENGTH; i++) {
        sum += sums[i];
    }
    return sum;
}

#endif
/* Adds and subtracts sums whose factors differ in their sign alone, in place. */
static void fold_pair(FOLD_SUM *sums)
{
    uint_fast16_t i;
    uint_fast16_t j;

#if FOLD_EVEN == 1
    for (i = 0; i < FOLD_SPAN; i++) {
        const FOLD_SUM a = sums[i];
        const FOLD_SUM b = sums[i + FOLD_SPAN];

        sums[i] = (FOLD_SUM)(a + b);
        sums[i + FOLD_SPAN] = (FOLD_SUM)(a - b);
    }
    for (j = FOLD_LENGTH - 1U, i = FOLD_SPAN + 1U; i < j; i++, j--) {
        const FOLD_SUM a = sums[i];
        const FOLD_SUM b = sums[j];

        sums[i] = (FOLD_SUM)(a + b);
        sums[j] = (FOLD_SUM)(a - b);
    }
#endif
    for (j = FOLD_SPAN - 1U, i = 1U; i < j; i++, j--) {
        const FOLD_SUM a = sums[i];
        const FOLD_SUM b = sums[j];

        sums[i] = (FOLD_SUM)(a + b);
        sums[j] = (FOLD_SUM)(a - b);
    }
}

/* Length and angle of harmonic k of the sums that fold_pair leaves. */
static NET_APART uint32_t fold_line(const FOLD_SUM *sums, uint_fast16_t k, uint32_t *angle)
{
    const uint_fast16_t step = FOLD_STEP;
    uint_fast16_t at = step;
    uint_fast16_t i;
    FOLD_TOTAL re;
    FOLD_TOTAL im = 0;
#if FOLD_EVEN == 1
    const FOLD_SUM *ahead = &sums[1]; /* of two places that lie alike, added */
    const FOLD_SUM *back = &sums[FOLD_SPAN - 1U]; /* and subtracted */

    re = (FOLD_TOTAL)sums[0] * FOLD_SCALE;
    if ((k & 1U) != 0U) {
        ahead = &sums[FOLD_SPAN + 1U];
        back = &sums[FOLD_LENGTH - 1U];
        re = (FOLD_TOTAL)sums[FOLD_SPAN] * FOLD_SCALE;
        for (i = 1; i < ((FOLD_SPAN + 1U) / 2U); i++) {
            re += (FOLD_TOTAL)*back * FOLD_COS(at);
            im -= (FOLD_TOTAL)*ahead * FOLD_SIN(at);
            ahead++;
            back--;
            at = FOLD_TURN(at + step);
        }
#if FOLD_CENTRE == 1
        im -= (FOLD_TOTAL)*ahead * FOLD_SIN(at);
#endif
    } else {
        for (i = 1; i < ((FOLD_SPAN + 1U) / 2U); i++) {
            re += (FOLD_TOTAL)*ahead * FOLD_COS(at);
            im -= (FOLD_TOTAL)*back * FOLD_SIN(at);
            ahead++;
            back--;
            at = FOLD_TURN(at + step);
        }
#if FOLD_CENTRE == 1
        re += (FOLD_TOTAL)*ahead * FOLD_COS(at);
#endif
    }
#else
    re = (FOLD_TOTAL)sums[0] * FOLD_SCALE;
    for (i = 1; i < ((FOLD_SPAN + 1U) / 2U); i++) {
        re += (FOLD_TOTAL)sums[i] * FOLD_COS(at);
        im -= (FOLD_TOTAL)sums[FOLD_SPAN - i] * FOLD_SIN(at);
        at = FOLD_TURN(at + step);
    }
#endif
    return FOLD_POLAR(re, im, FOLD_DOWN, angle);
}

