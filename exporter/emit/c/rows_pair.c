/* v[0] in the low half, v[1] in the high half; v need not be aligned. */
static inline int32_t net_pair(const int16_t *v)
{
    int32_t pair;

    memcpy(&pair, v, sizeof pair);
    return pair;
}

/* Four bytes, the first lowest; w need not be aligned. */
static inline uint32_t net_word(const uint8_t *w)
{
    uint32_t word;

    memcpy(&word, w, sizeof word);
    return word;
}
