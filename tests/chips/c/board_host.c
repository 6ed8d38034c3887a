/* The stream on the machine that runs the tests. */
#include "board.h"

#include <stdio.h>
#include <stdlib.h>

void board_line(char what, uint32_t first, uint32_t second)
{
    printf("%c %x %x\n", what, (unsigned)first, (unsigned)second);
}

void board_paint(void) {}
void board_start(void) {}
void board_stop(void) {}
void board_depth(void) {}

int main(int count, char **arguments)
{
    ENTRY(count > 1 ? (uint32_t)strtoul(arguments[1], 0, 10) : 0u);
    return 0;
}
