/*@file*/
#ifndef NET_H
#define NET_H

#include <stddef.h>
#include <stdint.h>

/*@interface*/
#ifdef __cplusplus
extern "C" {
#endif

/* 32-bit cores read two inputs at once: states and inputs begin at a word. */
#if defined(__GNUC__) && !defined(__AVR__)
#define NET_ALIGNED __attribute__((aligned(4)))
#define NET_X_MASK 3U
#else
#define NET_ALIGNED
#define NET_X_MASK 0U
#endif

/* State between two steps: one for every independent run of steps, that is, for
 * every machine observed. Nothing is kept elsewhere: steps on different states
 * may run at the same time, steps on one state may not. */
typedef struct {
/*@state*/
} NET_ALIGNED net_state;

/* The NET_ID of net.c, read from where its weights lie: another one than NET_ID here is of
 * another export. */
uint32_t net_id(void);

/* Sets the state to the start of a sequence: before the first step, and after
 * every gap in the steps. */
void net_reset(net_state *s);

/* Runs one time step; call it once per period. Pointers must be valid. x: features
 * in the order above, any int16 value, declared NET_ALIGNED: an address that is not a word's is slow
 * on one core and a fault on another; with -DNET_ASSERT=assert (a macro of yours) it is checked.
 * y: outputs, NET_Y_..._FRACTION_BITS each. */
void net_step(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS]);

#ifdef NET_WITH_RETAINED
/* A state in memory that a reset leaves alone, and what tells whether it did. */
typedef struct {
    uint32_t id; /* NET_ID */
    net_state state;
    uint32_t crc; /* CRC-32 of what stands before it */
} net_retained;

/* Keeps a copy of the state; call it after net_step. */
void net_retain(net_retained *r, const net_state *s);

/* Takes the state back after a reset. Returns 1; or 0 where it is damaged, was never kept or is of
 * another export: then the state is at the start of a sequence. Where steps were lost meanwhile,
 * net_reset is due instead.
#if NET_FRONT == 1
 * The front end is not kept: net_front_reset is due.
#endif
 */
uint8_t net_restore(const net_retained *r, net_state *s);

#endif
#ifdef NET_WITH_CHECK
/* Tells whether the constants in the section of NET_ROM, which a boot loader may have replaced, are
 * whole and what this code is made for. Returns 0; 1 where id, format hash and CRC do not belong
 * together, as in erased flash; 2 where they are of a network with other shapes or formats; 3 where
 * weights or tables are not those of the CRC. It reads bit by bit, which takes time: call it at
 * start, not between steps. Constants of net_encode, net_decode and net_encode_one are not read.
#if NET_FRONT == 1
 * Nor are those of the front end.
#endif
 */
uint8_t net_check(void);

#endif
#if NET_CLASSES == 1
/* Index of the class with the largest score, the first of equals. */
uint16_t net_class(const int32_t y[NET_N_OUTPUTS]);

#endif
#if NET_FRONT == 1
/* Front end, in net_front.c: what is kept of the samples of a window. All zeros, as static
 * memory starts, are no window: net_front_reset comes before the first sample. */
typedef struct {
/*@front*/
} net_front;

/* Sets the front end to the start of a sequence; together with net_reset. What
 * net_sample has returned before counts no more. */
void net_front_reset(net_front *f);

/* Takes one code of every converter, NET_CODE_... each; one beyond the bits of the
 * converter counts as the largest. To be called NET_WINDOW times a step, NET_SAMPLE_NS
 * apart; it is short, may stand in an interrupt, and may interrupt net_features,
 * net_front_reset and net_step anywhere, but not itself.
 * Returns 0; 1 when this sample filled the window: net_features and net_step are due;
 * 2 when the window is full and net_features has not run: the sample is ignored. The
 * next window begins with the first sample after net_features. Where steps were lost by
 * that, net_reset and net_front_reset are due. Where sampling pauses between windows, the
 * next sample to give after a 2 is the first of a window, or that window has a gap. */
uint8_t net_sample(net_front *f, const uint16_t code[NET_N_CHANNELS]);

/* Fills the computed features of x, leaves the others alone, and begins a window. Before
 * the window is full it does nothing. */
void net_features(net_front *f, int16_t x[NET_N_FEATURES]);

#endif
#if NET_GIVEN == 1
/* x of a feature from its value times 2^NET_X_..._VALUE_FRACTION_BITS, in integers alone;
 * beyond the range of x it saturates. Of a computed feature with -DNET_WITH_ENCODE_ONE, which
 * net_front.c and the self-test take, else 0. */
int16_t net_encode_one(uint16_t feature, int32_t value);

#else
#ifdef NET_WITH_ENCODE_ONE
/* x of a feature from its value times 2^NET_X_..._VALUE_FRACTION_BITS, in integers alone;
 * beyond the range of x it saturates. 0 of a feature that there is not. */
int16_t net_encode_one(uint16_t feature, int32_t value);
#endif

#endif
#ifdef NET_WITH_FLOAT
/* Physical units to the integers of net_step: values beyond the range of the
 * format saturate, NaN becomes the mean of the feature. That hides a dead sensor:
 * faults are for the caller to detect. */
void net_encode(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES]);

#define NET_MASK_BYTES ((NET_N_FEATURES + 7) / 8)

/* The same, and tells: returns how many features saturate or are NaN, and sets bit i % 8 of
 * mask[i / 8] where feature i does or is, and clears the others. */
uint16_t net_encode_checked(const float physical[NET_N_FEATURES], int16_t x[NET_N_FEATURES],
                            uint8_t mask[NET_MASK_BYTES]);

/* Integers of net_step to physical units. */
void net_decode(const int32_t y[NET_N_OUTPUTS], float physical[NET_N_OUTPUTS]);
#endif

#if NET_FRONT == 1
/* In net_selftest.c: replays recorded steps, then windows of converter codes, and compares
 * every integer. Returns 0; 1 + the number of the first that differs, where windows count
 * behind steps; or -1 where net.c is of another export. */
#else
/* In net_selftest.c: replays recorded steps and compares every output. Returns 0;
 * 1 + the number of the first step that differs; or -1 where net.c is of another export. */
#endif
/* Numbers behind these are of a long sequence (1 behind), net_encode_one (2), net_encode or
 * net_encode_checked (3) and net_decode (4), of which it tries those that it is compiled with.
 * It checks the port to a compiler and a core, not the flash: single weights may never decide a
 * step (in six random networks it noticed 46 to 92 % of all bits, flipped one by one). net_check,
 * with -DNET_WITH_CHECK, finds every one. The self-test has a main(), which prints; with
 * -DNET_SELFTEST_NO_STDIO it has none and prints nothing. */
int32_t net_selftest(void);

#ifdef __cplusplus
}
#endif

#endif /* NET_H */
