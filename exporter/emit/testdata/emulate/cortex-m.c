/* Vector table of a Cortex-M core; the start-up code is newlib's own. */
extern unsigned char __stack[];
void _start(void);
void _exit(int status);
void stop(void);
void systick(void);

/* Any exception is an error: the emulator ends with status 1. */
void stop(void)
{
    _exit(1);
}

/* But for the timer of a program that has its handler. */
__attribute__((weak, alias("stop"))) void systick(void);

/* Initial stack pointer, reset, and the exceptions 2 to 15
 * (Armv6-M architecture reference manual, B1.5.3). */
typedef union {
    void *stack;
    void (*handler)(void);
} vector;

__attribute__((section(".vectors"), used))
static const vector vectors[16] = {
    { .stack = __stack }, { .handler = _start }, { .handler = stop }, { .handler = stop },
    { .handler = stop }, { .handler = stop }, { .handler = stop }, { .handler = stop },
    { .handler = stop }, { .handler = stop }, { .handler = stop }, { .handler = stop },
    { .handler = stop }, { .handler = stop }, { .handler = stop }, { .handler = systick },
};
