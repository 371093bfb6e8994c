/* Lets leakair_sample interrupt leakair_features and leakair_front_reset at every instruction, and
 * the step of a network at some, each time from the same start, and checks that nothing is lost.
 * Prints "NAME PC ANSWER" of the interrupts that came inside the call (where neither is as before),
 * and a line "wrong ..." for what should not be. windows.h is written by the Go test: codes of four
 * windows, features of each, and of the last alone after a reset. */
#include "leakair.h"
#include "network.h"
#include "interrupt.h"
#include "windows.h"
#include <stdio.h>
#include <string.h>

#define BEFORE 2 /* windows before the one that is interrupted */
#define BEHIND 20U /* interrupts after the end of a call, which end the attempts */

#define APART __attribute__((noinline, noclone))

static leakair_front front;
static leakair_front start;
static network_state state;
static network_state state_start;
static int16_t x[LEAKAIR_N_FEATURES];
static const int16_t inputs[NETWORK_N_FEATURES] = { 3000 };
static int32_t y[NETWORK_N_OUTPUTS];

static volatile uint8_t inside; /* the call runs */
static volatile uint8_t came;   /* the interrupt did */
static volatile uint8_t came_inside;
static volatile uint8_t answer;
static volatile uintptr_t came_at;

void interrupt_taken(uintptr_t pc)
{
    answer = leakair_sample(&front, codes[BEFORE + 1][0]);
    came_at = pc;
    came_inside = inside;
    came = 1;
}

APART static void call_features(void)
{
    leakair_features(&front, x);
}

APART static void call_reset(void)
{
    leakair_front_reset(&front);
}

APART static void call_step(void)
{
    network_step(&state, inputs, y);
}

static int failures = 0;

static void wrong(const char *name, uint32_t at, const char *what)
{
    if (failures < 5) {
        printf("wrong %s, instant %lu, pc %lx, answer %u: %s\n", name, (unsigned long)at,
               (unsigned long)came_at, (unsigned)answer, what);
    }
    failures++;
}

/* Gives the samples of a window from number `first` on. */
static int fill(uint16_t window, uint16_t first, uint16_t behind)
{
    uint16_t n;
    int good = 1;

    for (n = first; n < behind; n++) {
        const uint8_t want = (n == LEAKAIR_WINDOW - 1) ? 1U : 0U;

        if (leakair_sample(&front, codes[window][n]) != want) {
            good = 0;
        }
    }
    return good;
}

/* Whether x has the computed features, and the others are as before. */
static int is_x(const int16_t want[LEAKAIR_N_FEATURES])
{
    return memcmp(x, want, sizeof x) == 0;
}

/* Given features keep this. */
static void forget(void)
{
    memset(x, GIVEN_BYTE, sizeof x);
}

/* Interrupts the call at every instant, after one without. The window after it has to be
 * `after`. */
APART static void interrupt_all(const char *name, void (*call)(void), uint32_t stride,
                          const int16_t *during, const int16_t *after)
{
    int32_t y_want[NETWORK_N_OUTPUTS];
    uint32_t instant;
    uint32_t interrupts = 0;
    uint8_t behind = 0;
    uint8_t last_answer = 255;
    uint8_t was_dropped = 0;
    uintptr_t last_at = 0;

    state = state_start;
    network_step(&state, inputs, y_want);
    front = start;
    call();
    for (instant = 0; behind < BEHIND; instant += stride) {
        uint16_t first;

        front = start;
        state = state_start;
        if (call == call_features) {
            forget();
        }
        memset(y, 0, sizeof y);
        came = 0;
        interrupt_at(instant);
        inside = 1;
        call();
        inside = 0;
        while (came == 0U) {
        }
        if ((came_inside == 0U) && (interrupts > 0U)) {
            behind++;
        }
        if (came_inside != 0U) {
            interrupts++;
            if ((came_at != last_at) || (answer != last_answer)) {
                printf("%s %lx %u\n", name, (unsigned long)came_at, (unsigned)answer);
            }
            last_at = came_at;
            last_answer = answer;
        }
        if (call == call_features) {
            if (!is_x(during)) {
                wrong(name, instant, "other features");
            }
            if (answer == 1U) {
                wrong(name, instant, "one sample filled a window");
            }
        }
        if ((call == call_step) && ((answer != 0U) || (memcmp(y, y_want, sizeof y) != 0))) {
            wrong(name, instant, "step disturbed");
        }
        was_dropped |= (answer == 2U);
        /* Before it was dropped the first time, the sample went into the window before. */
        first = ((answer == 0U) && ((call == call_step) || (was_dropped != 0U))) ? 1U : 0U;
        if (!fill(BEFORE + 1, first, LEAKAIR_WINDOW)) {
            wrong(name, instant, "the next window has not its number of samples");
        }
        if (call != call_step) {
            forget();
            call_features();
            if (!is_x(after)) {
                wrong(name, instant, "other features of the next window");
            }
        }
    }
    printf("%s: interrupts %lu\n", name, (unsigned long)interrupts);
}

int main(void)
{
    static leakair_front begun;
    uint16_t step;

    network_reset(&state_start);
    leakair_front_reset(&front);
    for (step = 0; step < BEFORE; step++) {
        (void)fill(step, 0, LEAKAIR_WINDOW);
        forget();
        call_features();
        if (!is_x(features[step])) {
            wrong("features", step, "undisturbed");
        }
    }
    begun = front;
    (void)fill(BEFORE, 0, LEAKAIR_WINDOW);
    start = front;
    interrupt_all("features", call_features, 1, features[BEFORE], features[BEFORE + 1]);

    front = begun;
    (void)fill(BEFORE, 0, LEAKAIR_WINDOW - 1);
    start = front;
    interrupt_all("reset", call_reset, 1, NULL, features_after_reset);

    leakair_front_reset(&front);
    start = front;
    interrupt_all("step", call_step, STEP_STRIDE, NULL, NULL);
    if (failures > 0) {
        printf("wrong: %d in all\n", failures);
    }
    printf("finished\n");
    return failures != 0;
}
