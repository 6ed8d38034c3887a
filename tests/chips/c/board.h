/* What the stream asks of the machine that it runs on. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

/* Takes a line of the report: what it is, and up to two numbers. */
void board_line(char what, uint32_t first, uint32_t second);

/* About the decision alone, in this order: fill the free stack with a pattern, start counting instructions, stop
 * counting, look how much of the pattern is gone. Nothing where the harness watches from outside. */
void board_paint(void);
void board_start(void);
void board_stop(void);
void board_depth(void);

/* What the board runs. */
void ENTRY(uint32_t steps);

#endif
