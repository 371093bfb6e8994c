/* Where weights, tables and the id lie, and how they are read; vectors of the self-test lie
 * elsewhere. In program memory where that has an address space of its own: reads are near, so keep
 * them in the first 64 KiB there. Compile net.c with -DNET_WEIGHTS_IN_RAM to have the start-up code
 * copy them to RAM. For a section of their own define NET_ROM, which stands behind every
 * declaration; on 8-bit AVR a section in program memory, whose name begins with .progmem. A
 * compiler that reads another way needs NET_ROM_U8 and the macros beside it as well, all of them. */
#ifndef NET_ROM_U8
#if defined(__AVR__) && !defined(NET_WEIGHTS_IN_RAM)
#include <avr/pgmspace.h>
#define NET_ROM_U8(p) ((uint8_t)pgm_read_byte(p))
#define NET_ROM_I8(p) ((int8_t)pgm_read_byte(p))
#define NET_ROM_I16(p) ((int16_t)pgm_read_word(p))
#define NET_ROM_U16(p) ((uint16_t)pgm_read_word(p))
#define NET_ROM_I32(p) ((int32_t)pgm_read_dword(p))
#define NET_ROM_F32(p) (pgm_read_float(p))
#elif defined(NET_WITH_CHECK)
/* Other constants may stand there than the compiler has seen. */
#define NET_ROM_U8(p) (*(const volatile uint8_t *)(p))
#define NET_ROM_I8(p) ((int8_t)*(const volatile uint8_t *)(p))
#define NET_ROM_I16(p) (*(const volatile int16_t *)(p))
#define NET_ROM_U16(p) (*(const volatile uint16_t *)(p))
#define NET_ROM_I32(p) (*(const volatile int32_t *)(p))
#define NET_ROM_F32(p) (*(const volatile float *)(p))
#else
#define NET_ROM_U8(p) (*(p))
#define NET_ROM_I8(p) ((int8_t)*(p))
#define NET_ROM_I16(p) (*(p))
#define NET_ROM_U16(p) (*(p))
#define NET_ROM_I32(p) (*(p))
#define NET_ROM_F32(p) (*(p))
#endif
#endif
#ifndef NET_ROM
#if defined(__AVR__) && !defined(NET_WEIGHTS_IN_RAM)
#define NET_ROM PROGMEM
#elif defined(NET_WEIGHTS_IN_RAM) && !defined(__AVR__)
#define NET_ROM __attribute__((section(".data.net_weights")))
#else
#define NET_ROM
#endif
#endif

/* Stands in front of every function, for a section of their own: define it beforehand. */
#ifndef NET_TEXT
#define NET_TEXT
#endif

