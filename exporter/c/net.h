/*@file*/
#ifndef NET_H
#define NET_H

#include <stddef.h>
#include <stdint.h>

/*@interface*/
#ifdef __cplusplus
extern "C" {
#endif

/* State between two steps: one for every sensor. Nothing is kept elsewhere. */
typedef struct {
#if NET_STATE_BITS == 32
    int32_t h_Q30[NET_N_UNITS];
#else
    int16_t h_Q15[NET_N_UNITS];
#endif
} net_state;

/* Sets the state to the start of a sequence. */
void net_reset(net_state *s);

/* Runs one time step. x: features in the order above, NET_X_FRACTION_BITS
 * fraction bits, any int16 value. y: outputs, NET_Y_..._FRACTION_BITS each. */
void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS]);

#ifdef NET_WITH_FLOAT
/* Physical units to the integers of net_step: values beyond the range of the
 * format saturate, NaN becomes the mean of the feature. */
void net_encode(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES]);

/* Integers of net_step to physical units. */
void net_decode(const int32_t y[NET_N_OUTPUTS], float physical[NET_N_OUTPUTS]);
#endif

#ifdef __cplusplus
}
#endif

#endif /* NET_H */
