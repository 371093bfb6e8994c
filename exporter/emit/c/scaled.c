/* Brings a whole number to what the network takes. */
#if NET_FRONT == 1
static NET_APART_IF_SHORT int16_t net_scaled(int32_t v, const net_scale *s)
#else
static int16_t net_scaled(int32_t v, const net_scale *s)
#endif
{
    const int32_t limit = (int32_t)4 * (uint16_t)NET_ROM_I16(&s->limit);
    const uint_fast8_t down = NET_ROM_U8(&s->down);

    v -= NET_ROM_I32(&s->middle);
    v = (v + (((int32_t)1 << down) >> 1)) >> down;
    if (v > limit) {
        v = limit;
    }
    if (v < -limit) {
        v = -limit;
    }
    v = ((v * NET_ROM_I32(&s->multiplier)) + NET_ROM_I32(&s->add)) >> 15;
#if defined(__ARM_FEATURE_SAT) && defined(__GNUC__)
    v = (int32_t)__builtin_arm_ssat(v, 16); /* __ssat of arm_acle.h draws a conversion warning */
#else
    if (v > INT16_MAX) {
        v = INT16_MAX;
    }
    if (v < INT16_MIN) {
        v = INT16_MIN;
    }
#endif
    return (int16_t)v;
}
