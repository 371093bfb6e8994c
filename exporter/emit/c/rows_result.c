/* Result of a row: sum / 2^shift, limited to int16. The half that rounds is part
 * of the bias already. 1 <= shift <= 30. */
static NET_INSIDE int16_t net_result(int32_t sum, uint8_t shift)
{
#if defined(__AVR__)
    if (shift >= 8U) { /* a whole byte first: single bits are shifted one by one */
        return (int16_t)net_sat16((sum >> 8) >> (uint8_t)(shift - 8U));
    }
#endif
    return (int16_t)net_sat16(sum >> shift);
}
