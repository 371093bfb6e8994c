/*@file*/
/* Measures the steps of net_vectors.h on a board. Call net_board() from a main()
 * of your own, with interrupts off and the clock and flash settings of the
 * product, and keep the lines it prints in a file. Supply net_cycles() and
 * net_line(), see net_board.h; with -DNET_BOARD_DWT net_cycles() is here already, for cores with
 * a cycle counter in their debug unit: Cortex-M3, M4, M7, M33.
 *
 * A line holds: name, export, layers and word widths, steps, cycles of all steps, cycles of the
 * same loop around an empty function. The counter must not wrap more than once:
 * choose fewer runs, or extend a short timer in software. */
#include "net.h"
#include "net_board.h"
#include "net_vectors.h"

#if NET_VECTORS_ID != NET_ID
#error "net_vectors.h and net.h are of different exports"
#endif

/*@line*/
#define NET_BOARD_DIGITS 10U /* of 2^32 - 1 */
#if defined(NET_PORTABLE)
#define NET_BOARD_FORM ";small" /* rows are read by plain C */
#else
#define NET_BOARD_FORM ""
#endif

typedef void (*net_board_call)(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS]);

static void net_board_empty(net_state *s, const int16_t x[NET_N_FEATURES], int32_t y[NET_N_OUTPUTS])
{
    (void)s;
    (void)x;
    (void)y;
}

#ifdef NET_BOARD_DWT
/* Data watchpoint and trace unit: Armv7-M Architecture Reference Manual DDI 0403,
 * sections C1.6.5 and C1.8 (addresses from memory). Some cores have a lock, others ignore the write. */
#define NET_BOARD_DEMCR (*(volatile uint32_t *)0xE000EDFCUL)
#define NET_BOARD_TRCENA (UINT32_C(1) << 24)
#define NET_BOARD_DWT_CTRL (*(volatile uint32_t *)0xE0001000UL)
#define NET_BOARD_CYCCNTENA UINT32_C(1)
#define NET_BOARD_DWT_CYCCNT (*(volatile uint32_t *)0xE0001004UL)
#define NET_BOARD_DWT_LAR (*(volatile uint32_t *)0xE0001FB0UL)
#define NET_BOARD_UNLOCK UINT32_C(0xC5ACCE55)

static void net_board_start(void)
{
    NET_BOARD_DEMCR |= NET_BOARD_TRCENA;
    NET_BOARD_DWT_LAR = NET_BOARD_UNLOCK;
    NET_BOARD_DWT_CYCCNT = 0U;
    NET_BOARD_DWT_CTRL |= NET_BOARD_CYCCNTENA;
}

uint32_t net_cycles(void)
{
    return NET_BOARD_DWT_CYCCNT;
}
#endif

/* Cycles of `runs` times all recorded steps through a function. The pointer is
 * volatile so that the compiler cannot see which function it is. */
static uint32_t net_board_time(net_board_call volatile *call, uint16_t runs)
{
    net_state state;
    int16_t x[NET_N_FEATURES] NET_ALIGNED;
    int32_t y[NET_N_OUTPUTS];
    uint16_t run;
    uint16_t step;
    uint16_t i;
    const uint32_t start = net_cycles();

    for (run = 0; run < runs; run++) {
        for (step = 0; step < NET_VECTOR_STEPS; step++) {
            if ((step == 0U) || (NET_VECTOR_U8(&net_vector_reset[step]) != 0U)) {
                net_reset(&state);
            }
            for (i = 0; i < NET_N_FEATURES; i++) {
                x[i] = NET_VECTOR_I16(&net_vector_x[step][i]);
            }
            (*call)(&state, x, y);
        }
    }
    return net_cycles() - start;
}

/* Writes a comma and a number behind `at` and returns where it ends. */
static char *net_board_number(char *at, uint32_t value)
{
    char digits[NET_BOARD_DIGITS];
    uint16_t n = 0;

    do {
        digits[n] = (char)('0' + (char)(value % 10U));
        n++;
        value /= 10U;
    } while (value != 0U);
    *at = ',';
    at++;
    while (n > 0U) {
        n--;
        *at = digits[n];
        at++;
    }
    return at;
}

void net_board(uint16_t runs)
{
    static const char network[] = NET_BOARD_NETWORK NET_BOARD_FORM;
    char line[sizeof(network) + (3U * (NET_BOARD_DIGITS + 1U))];
    char *at = line;
    net_board_call volatile step = net_step;
    net_board_call volatile empty = net_board_empty;
    uint32_t cycles;
    uint32_t overhead;
    uint16_t i;

#ifdef NET_BOARD_DWT
    net_board_start();
#endif
    overhead = net_board_time(&empty, runs);
    cycles = net_board_time(&step, runs);
    for (i = 0; network[i] != '\0'; i++) {
        *at = network[i];
        at++;
    }
    at = net_board_number(at, (uint32_t)runs * NET_VECTOR_STEPS);
    at = net_board_number(at, cycles);
    at = net_board_number(at, overhead);
    *at = '\0';
    net_line("name,export,network,steps,cycles,overhead");
    net_line(line);
}
