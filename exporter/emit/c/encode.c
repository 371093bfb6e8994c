/* Brings a value to what the network takes. It is limited to 2^30 to either side first, within
 * which mean and 32 standard deviations are: that far from the mean the difference fits 32 bits. */
static int16_t net_scaled_value(int32_t value, const net_scale *s)
{
    const int32_t limit = INT32_C(1) << 30;
    int32_t v = value;

    if (v > limit) {
        v = limit;
    } else if (v < -limit) {
        v = -limit;
    } else {
        /* v is within */
    }
    return net_scaled(v, s);
}

