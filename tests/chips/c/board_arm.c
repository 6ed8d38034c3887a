/* The stream on Cortex-M under QEMU: text and the end by semihosting, instructions by SysTick under -icount.
 *
 * TICKS_TO_INSTRUCTIONS(ticks) comes from the command line: with a stated number of virtual nanoseconds an instruction, SysTick
 * advances by a fixed ratio each instruction. No division, no table, no library. */
#include "board.h"

#define SYSTICK_CONTROL (*(volatile uint32_t *)0xE000E010u)
#define SYSTICK_RELOAD (*(volatile uint32_t *)0xE000E014u)
#define SYSTICK_VALUE (*(volatile uint32_t *)0xE000E018u)
#define SYSTICK_MASK 0xFFFFFFu
/* Semihosting operations and the reason of a good end. */
#define WRITE_TEXT 0x04
#define EXIT 0x18
#define APPLICATION_EXIT 0x20026u
/* Of decisions with fewer instructions each number is counted; of the rest, all of them and the longest. */
#define COUNTED 1024u
/* Words below the stack pointer that are painted, and the paint. */
#define PAINTED_WORDS 128
#define PAINT 0xA5A5A5A5
#define TEXT(number) TEXT_OF(number)
#define TEXT_OF(number) #number

extern uint32_t stack_top[];
void reset(void);

static uint32_t calls[COUNTED];
static uint32_t longer_calls;
static uint32_t longest;
static uint32_t started_ticks;
static uint32_t last_ticks;
static uint32_t empty_ticks;
static uint32_t deepest_bytes;

__attribute__((used, section(".vectors"))) static const void *const vectors[2] = {stack_top, (const void *)reset};

static void semihost(uint32_t operation, const void *argument)
{
    register uint32_t r0 __asm__("r0") = operation;
    register const void *r1 __asm__("r1") = argument;

    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
}

static char *put_number(char *text, uint32_t number)
{
    uint32_t digit;

    for (digit = 0u; digit < 8u; digit++) {
        uint32_t nibble = number >> 28;

        number <<= 4;
        *text++ = (char)(nibble < 10u ? '0' + nibble : 'a' - 10u + nibble);
    }
    return text;
}

void board_line(char what, uint32_t first, uint32_t second)
{
    char line[24];
    char *text = line;

    *text++ = what;
    *text++ = ' ';
    text = put_number(text, first);
    *text++ = ' ';
    text = put_number(text, second);
    *text++ = '\n';
    *text = '\0';
    semihost(WRITE_TEXT, line);
}

/* Paints from the caller's stack pointer down; touches no stack itself. */
__attribute__((naked)) void board_paint(void)
{
    __asm__ volatile("mov r0, sp\n"
                     "movs r1, #" TEXT(PAINTED_WORDS) "\n"
                     "ldr r2, =" TEXT(PAINT) "\n"
                     "1: subs r0, #4\n"
                     "str r2, [r0]\n"
                     "subs r1, #1\n"
                     "bne 1b\n"
                     "bx lr\n"
                     ".ltorg\n");
}

/* Looks from the caller's stack pointer for the lowest word that is no longer paint. */
__attribute__((naked)) void board_depth(void)
{
    __asm__ volatile("mov r3, sp\n"
                     "movs r0, #" TEXT(PAINTED_WORDS) "\n"
                     "lsls r0, r0, #2\n"
                     "subs r1, r3, r0\n"
                     "ldr r2, =" TEXT(PAINT) "\n"
                     "1: ldr r0, [r1]\n"
                     "cmp r0, r2\n"
                     "bne 2f\n"
                     "adds r1, #4\n"
                     "cmp r1, r3\n"
                     "bne 1b\n"
                     "2: subs r0, r3, r1\n"
                     "ldr r1, =record_depth\n"
                     "bx r1\n"
                     ".ltorg\n");
}

__attribute__((used)) void record_depth(uint32_t depth_bytes)
{
    if (depth_bytes > deepest_bytes) {
        deepest_bytes = depth_bytes;
    }
}

void board_start(void)
{
    started_ticks = SYSTICK_VALUE;
}

/* SysTick counts down. */
void board_stop(void)
{
    uint32_t stopped_ticks = SYSTICK_VALUE;
    uint32_t instructions;

    last_ticks = (started_ticks - stopped_ticks) & SYSTICK_MASK;
    instructions = TICKS_TO_INSTRUCTIONS(last_ticks - empty_ticks);
    if (instructions < COUNTED) {
        calls[instructions]++;
        return;
    }
    longer_calls++;
    if (instructions > longest) {
        longest = instructions;
    }
}

void reset(void)
{
    uint32_t instructions;

    SYSTICK_RELOAD = SYSTICK_MASK;
    SYSTICK_VALUE = 0u;
    SYSTICK_CONTROL = 5u;
    /* What a measurement of nothing shows, not to be counted. */
    board_start();
    board_stop();
    empty_ticks = last_ticks;
    calls[TICKS_TO_INSTRUCTIONS(last_ticks)] = 0u;
    ENTRY(STEPS);
    for (instructions = 0u; instructions < COUNTED; instructions++) {
        if (calls[instructions] != 0u) {
            board_line('c', instructions, calls[instructions]);
        }
    }
    if (longer_calls != 0u) {
        board_line('c', longest, longer_calls);
    }
    board_line('s', deepest_bytes, 0u);
    semihost(EXIT, (const void *)APPLICATION_EXIT);
    for (;;) {
    }
}
