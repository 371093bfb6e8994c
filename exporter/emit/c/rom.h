/* Constants stay in program memory where that has an address space of its own.
 * Reads are near: keep them in the first 64 KiB there. Compile net.c with
 * -DNET_WEIGHTS_IN_RAM to have the start-up code copy weights and tables to RAM.
 * Define these macros beforehand for a compiler that needs others. */
#ifndef NET_ROM
#if defined(__AVR__) && !defined(NET_WEIGHTS_IN_RAM)
#include <avr/pgmspace.h>
#define NET_ROM PROGMEM
#define NET_ROM_U8(p) ((uint8_t)pgm_read_byte(p))
#define NET_ROM_I8(p) ((int8_t)pgm_read_byte(p))
#define NET_ROM_I16(p) ((int16_t)pgm_read_word(p))
#define NET_ROM_U16(p) ((uint16_t)pgm_read_word(p))
#define NET_ROM_I32(p) ((int32_t)pgm_read_dword(p))
#define NET_ROM_F32(p) (pgm_read_float(p))
#else
#if defined(NET_WEIGHTS_IN_RAM) && !defined(__AVR__)
#define NET_ROM __attribute__((section(".data.net_weights")))
#else
#define NET_ROM
#endif
#define NET_ROM_U8(p) (*(p))
#define NET_ROM_I8(p) ((int8_t)*(p))
#define NET_ROM_I16(p) (*(p))
#define NET_ROM_U16(p) (*(p))
#define NET_ROM_I32(p) (*(p))
#define NET_ROM_F32(p) (*(p))
#endif
#endif

