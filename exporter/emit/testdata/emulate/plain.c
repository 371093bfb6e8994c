/* The network in plain C under names of its own, beside the one with kernels in assembler. */
#define LEAKAIR_PORTABLE
#define leakair_id plain_id
#define leakair_reset plain_reset
#define leakair_step plain_step
#define leakair_class plain_class
#include "leakair.c"
