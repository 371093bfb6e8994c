/*@file*/
#ifndef NET_H
#define NET_H

#include <stddef.h>
#include <stdint.h>

/*@interface*/
#ifdef __cplusplus
extern "C" {
#endif

/* State between two steps: one for every independent run of steps, that is, for
 * every machine observed. Nothing is kept elsewhere: steps on different states
 * may run at the same time, steps on one state may not. */
typedef struct {
/*@state*/
} net_state;

/* The same as NET_ID, in the object file; on 8-bit AVR in program memory. */
extern const uint32_t net_id;

/* Sets the state to the start of a sequence: before the first step, and after
 * every gap in the steps. */
void net_reset(net_state *s);

/* Runs one time step; call it once per period. Pointers must be valid. x: features
 * in the order above, any int16 value. y: outputs, NET_Y_..._FRACTION_BITS each. */
void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS]);

#if NET_CLASSES == 1
/* Index of the class with the largest score, the first of equals. */
uint16_t net_class(const int32_t y[NET_N_OUTPUTS]);

#endif
#ifdef NET_WITH_FLOAT
/* Physical units to the integers of net_step: values beyond the range of the
 * format saturate, NaN becomes the mean of the feature. That hides a dead sensor:
 * faults are for the caller to detect. */
void net_encode(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES]);

/* Integers of net_step to physical units. */
void net_decode(const int32_t y[NET_N_OUTPUTS], float physical[NET_N_OUTPUTS]);
#endif

/* In net_selftest.c: replays recorded steps and compares every output. Returns 0,
 * or 1 + the number of the first step that differs. It checks the port to a
 * compiler and a core, not the flash: single weights may never decide a step. */
int32_t net_selftest(void);

/* In net_board.c: runs the steps of the self-test `runs` times and prints what
 * they took, for `kerf targets fit`. The board supplies the two functions below. */
void net_board(uint16_t runs);

/* A counter that goes up by 1 with every cycle of the core and wraps at 2^32. */
uint32_t net_cycles(void);

/* Prints a text and ends the line. */
void net_line(const char *text);

#ifdef __cplusplus
}
#endif

#endif /* NET_H */
