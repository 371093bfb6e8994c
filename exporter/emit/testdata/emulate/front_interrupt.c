/* Lets leakair_sample interrupt leakair_features and leakair_front_reset before every instruction,
 * and the step of a network before some, and checks that nothing is lost. A call is interrupted
 * again and again until a sample is taken: one that is dropped has to leave everything as it was,
 * so it cannot hide what the next one does. Calls begin the same way each time, the first interrupt
 * an instant later. Prints "NAME PC ANSWER" of interrupts that came inside the call, once for each
 * place, and a line "wrong ..." for what should not be. windows.h is written by the Go test: codes
 * of four windows, features of each, and of the last alone after a reset. */
#include "leakair.h"
#include "network.h"
#include "interrupt.h"
#include "windows.h"
#include <stdio.h>
#include <string.h>

#define BEFORE 2 /* windows before the one that is interrupted */
#define BEHIND 20U /* interrupts after the end of a step, which end the attempts */
#define MARGIN 60U /* first instants pass before the call begins */
#define MOST 700U  /* interrupts of a call that are kept */

#define APART __attribute__((noinline, noclone))

static leakair_front front;
static leakair_front start;
static network_state state;
static network_state state_start;
static int16_t x[LEAKAIR_N_FEATURES] LEAKAIR_ALIGNED;
static const int16_t inputs[NETWORK_N_FEATURES] LEAKAIR_ALIGNED = { 3000 };
static int32_t y[NETWORK_N_OUTPUTS];

static volatile uint8_t inside; /* the call runs */
static volatile uint8_t came;   /* the last interrupt did: its sample was taken */
static volatile uint8_t came_inside;
static volatile uint8_t answer; /* of the last one */
static volatile uint8_t was_changed; /* by a sample that was dropped */
static volatile uintptr_t came_at;
static volatile uint16_t dropped; /* inside */
static uintptr_t dropped_at[MOST];
static uint8_t was_seen[0x10000 / 16]; /* bits: a sample was dropped before the instruction */

int interrupt_taken(uintptr_t pc)
{
    static leakair_front before;

    before = front;
    answer = leakair_sample(&front, codes[BEFORE + 1][0]);
    if (answer == 2U) {
        if (memcmp(&before, &front, sizeof front) != 0) {
            was_changed = 1;
        }
        if (inside != 0U) {
            if (dropped < MOST) {
                dropped_at[dropped] = pc;
            }
            dropped++;
        }
        return 1;
    }
    came_at = pc;
    came_inside = inside;
    came = 1;
    return 0;
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

/* Prints where samples were dropped for the first time. */
static void print_dropped(const char *name)
{
    uint16_t i;

    for (i = 0; (i < dropped) && (i < MOST); i++) {
        const uint16_t place = (uint16_t)((dropped_at[i] & 0xFFFFU) / 2U);
        const uint8_t bit = (uint8_t)(1U << (place % 8U));

        if ((was_seen[place / 8U] & bit) == 0U) {
            was_seen[place / 8U] |= bit;
            printf("%s %lx 2\n", name, (unsigned long)dropped_at[i]);
        }
    }
}

/* Gives the samples of the next window from number `first` on, which has to have these features. */
static void check_next(const char *name, uint32_t instant, uint16_t first, const int16_t *after)
{
    if (!fill(BEFORE + 1, first, LEAKAIR_WINDOW)) {
        wrong(name, instant, "the next window has not its number of samples");
    }
    forget();
    call_features();
    if (!is_x(after)) {
        wrong(name, instant, "other features of the next window");
    }
}

/* A call that is not interrupted: the Go test has the emulator list its instructions. */
APART static void undisturbed(void (*call)(void))
{
    call();
    came = 0; /* so that it returns to here */
}

/* Interrupts the call before every instruction. The window after it has to be `after`. */
static void interrupt_all(const char *name, void (*call)(void), const int16_t *during,
                                const int16_t *after)
{
    uint32_t instant;
    uint32_t interrupts = 0;
    uint8_t was_dropped = 0;

    memset(was_seen, 0, sizeof was_seen);
    for (instant = 0; instant < interrupt_again + MARGIN; instant++) {
        front = start;
        if (call == call_features) {
            forget();
        }
        came = 0;
        dropped = 0;
        was_changed = 0;
        interrupt_at(instant);
        inside = 1;
        call();
        inside = 0;
        while (came == 0U) {
        }
        interrupts += dropped + (uint32_t)came_inside;
        if (came_inside != 0U) {
            printf("%s %lx %u\n", name, (unsigned long)came_at, (unsigned)answer);
        }
        print_dropped(name);
        if (was_changed != 0U) {
            wrong(name, instant, "a sample that was dropped left something");
        }
        if (dropped > MOST) {
            wrong(name, instant, "more interrupts than are kept");
        }
        if ((during != NULL) && !is_x(during)) {
            wrong(name, instant, "other features");
        }
        if ((during != NULL) && (answer == 1U)) {
            wrong(name, instant, "one sample filled a window");
        }
        if (dropped > 0U) {
            was_dropped = 1;
        }
        /* Before it was dropped the first time, the sample went into the window before. */
        check_next(name, instant, ((answer == 0U) && (was_dropped != 0U)) ? 1U : 0U, after);
    }
    printf("%s: interrupts %lu\n", name, (unsigned long)interrupts);
}

/* Interrupts the step of the network at some instants. */
static void interrupt_step(void)
{
    int32_t y_want[NETWORK_N_OUTPUTS];
    uint32_t instant;
    uint8_t behind = 0;
    uint8_t any = 0;

    state = state_start;
    network_step(&state, inputs, y_want);
    for (instant = 0; behind < BEHIND; instant += STEP_STRIDE) {
        front = start;
        state = state_start;
        memset(y, 0, sizeof y);
        came = 0;
        interrupt_at(instant);
        inside = 1;
        call_step();
        inside = 0;
        while (came == 0U) {
        }
        if (came_inside != 0U) {
            any = 1;
        } else if (any != 0U) {
            behind++;
        }
        if ((answer != 0U) || (memcmp(y, y_want, sizeof y) != 0)) {
            wrong("step", instant, "step disturbed");
        }
        if (!fill(BEFORE + 1, 1, LEAKAIR_WINDOW)) {
            wrong("step", instant, "the next window has not its number of samples");
        }
    }
}

int main(void)
{
    static leakair_front begun;
    static leakair_front nearly_full;
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
    (void)fill(BEFORE, 0, LEAKAIR_WINDOW - 1);
    start = front;
    undisturbed(call_reset);
    front = begun;
    (void)fill(BEFORE, 0, LEAKAIR_WINDOW);
    nearly_full = start;
    start = front;
    undisturbed(call_features);

    interrupt_all("features", call_features, features[BEFORE], features[BEFORE + 1]);
    start = nearly_full;
    interrupt_all("reset", call_reset, NULL, features_after_reset);

    leakair_front_reset(&front);
    start = front;
    interrupt_step();
    if (failures > 0) {
        printf("wrong: %d in all\n", failures);
    }
    printf("finished\n");
    return failures != 0;
}
