/* Sum of v, modulo 2^32. */
static uint32_t net_sum(const int16_t *v, uint16_t n)
{
    const int16_t *x = v;
    const int16_t *const end = &v[n];
    uint32_t sum = ((n & 1U) != 0U) ? (uint32_t)(int32_t)*x++ : 0U;

    while (x != end) {
        sum += (uint32_t)(int32_t)x[0];
        sum += (uint32_t)(int32_t)x[1];
        x += 2;
    }
    return sum;
}
