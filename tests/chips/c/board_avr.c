/* The stream on the 8-bit AVR target under simavr. The harness takes each byte written to GPIOR0 as text, and watches
 * the decision itself: its cycles and its stack, without a trace in the firmware. */
#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

static void put_number(uint32_t number)
{
    uint8_t digit;
    uint8_t nibble;

    for (digit = 0u; digit < 8u; digit++) {
        nibble = (uint8_t)(number >> 28);
        number <<= 4;
        GPIOR0 = (uint8_t)(nibble < 10u ? '0' + nibble : 'a' - 10 + nibble);
    }
}

void board_line(char what, uint32_t first, uint32_t second)
{
    GPIOR0 = (uint8_t)what;
    GPIOR0 = ' ';
    put_number(first);
    GPIOR0 = ' ';
    put_number(second);
    GPIOR0 = '\n';
}

void board_paint(void) {}
void board_start(void) {}
void board_stop(void) {}
void board_depth(void) {}

int main(void)
{
    ENTRY(STEPS);
    cli();
    sleep_enable();
    sleep_cpu();
    return 0;
}
