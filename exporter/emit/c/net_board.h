/*@file*/
#ifndef NET_BOARD_H
#define NET_BOARD_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

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

#endif /* NET_BOARD_H */
