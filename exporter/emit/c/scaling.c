/* What brings a whole number v to x: v - middle is shifted down, limited, multiplied, and
 * shifted by 15. Everything fits 32 bits. */
typedef struct {
    int32_t middle;
    int32_t multiplier;
    int32_t add;
    uint16_t limit; /* a quarter of it */
    uint8_t down;
#if NET_FRONT == 1
#if NET_USES_FAR == 1
    uint8_t filler;
    uint16_t at; /* its place in x */
    uint16_t filler2;
#else
    uint8_t at; /* its place in x */
#endif
#else
    uint8_t filler;
#endif
} net_scale;
