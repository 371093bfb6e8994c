/* Sum of v, modulo 2^32. */
static uint32_t net_sum(const int16_t *v, uint16_t n)
{
    const int16_t *x = v;
    const int16_t *const end = &v[n];
    uint32_t sum = 0;

    do {
        sum += (uint32_t)(int32_t)*x;
        x++;
    } while (x != end);
    return sum;
}
