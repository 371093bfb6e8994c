/* Vectors stay in program memory where that has an address space of its own, in its first
 * 64 KiB. Where the weights lie does not matter to them. */
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define NET_VECTOR_ROM PROGMEM
#define NET_VECTOR_U8(p) ((uint8_t)pgm_read_byte(p))
#define NET_VECTOR_I16(p) ((int16_t)pgm_read_word(p))
#define NET_VECTOR_I32(p) ((int32_t)pgm_read_dword(p))
#define NET_VECTOR_F32(p) (pgm_read_float(p))
#else
#define NET_VECTOR_ROM
#define NET_VECTOR_U8(p) (*(p))
#define NET_VECTOR_I16(p) (*(p))
#define NET_VECTOR_I32(p) (*(p))
#define NET_VECTOR_F32(p) (*(p))
#endif

