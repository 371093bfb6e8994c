/* The int4 weight in the low half of a byte. */
static int32_t net_low_w4(uint8_t v)
{
    return (int32_t)((v & 15U) ^ 8U) - 8;
}
