/* Runs firmware on simavr's core and watches one function of it.
 *
 *     harness FIRMWARE.elf ADDRESS
 *
 * Bytes that the firmware writes to GPIOR0 go to stdout. Of the function at byte address ADDRESS it counts the cycles of
 * each call, from its first instruction to behind its return, and the lowest stack pointer. At the end: a line
 * `c CYCLES CALLS` for each duration, and `s BYTES 0` for the deepest stack, the return address included; numbers are hexadecimal. */
#include <stdio.h>
#include <stdlib.h>

#include <simavr/sim_avr.h>
#include <simavr/sim_core.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>

/* GPIOR0 of the atmega328p in data space. */
#define CONSOLE 0x3E
/* No call is longer; one that is ends the run. */
#define LONGEST_CYCLES 65536u
/* Bytes of a return address in flash of 32 KiB. */
#define RETURN_BYTES 2u

static unsigned calls[LONGEST_CYCLES];

static void console(struct avr_t *avr, avr_io_addr_t address, uint8_t byte, void *unused)
{
    (void)unused;
    avr->data[address] = byte;
    putchar(byte);
}

/* The stack pointer, or `before` while only its high half is written: a frame is made in two steps. */
static unsigned stack_pointer(const avr_t *avr, unsigned before)
{
    unsigned low = avr->data[R_SPL];

    return low == (before & 255u) ? before : low | ((unsigned)avr->data[R_SPH] << 8);
}

/* One instruction. The firmware has no timer and no interrupt, so the core is asked alone, in two thirds of the time; what ends a
 * sleep that nothing can end is the emulator's own loop. */
static int step(avr_t *avr)
{
    avr->run_cycle_count = 0;
    avr->pc = avr_run_one(avr);
    return avr->state == cpu_Sleeping ? avr_run(avr) : avr->state;
}

int main(int count, char **arguments)
{
    elf_firmware_t firmware = {0};
    avr_t *avr;
    unsigned watched;
    unsigned deepest = 0;
    unsigned cycles;
    int state = cpu_Running;

    if (count != 3 || elf_read_firmware(arguments[1], &firmware) != 0) {
        fprintf(stderr, "usage: harness FIRMWARE.elf ADDRESS\n");
        return 2;
    }
    watched = (unsigned)strtoul(arguments[2], 0, 0);
    avr = avr_make_mcu_by_name("atmega328p");
    if (avr == 0) {
        return 2;
    }
    avr_init(avr);
    avr->frequency = 16000000;
    avr_load_firmware(avr, &firmware);
    avr_register_io_write(avr, CONSOLE, console, 0);
    while (state != cpu_Done && state != cpu_Crashed) {
        if (avr->pc == watched) {
            unsigned entry = avr->data[R_SPL] | ((unsigned)avr->data[R_SPH] << 8);
            unsigned now = entry;
            unsigned lowest = entry;
            avr_cycle_count_t start = avr->cycle;

            /* It has returned once its return address is off the stack. */
            do {
                state = step(avr);
                now = stack_pointer(avr, now);
                if (now < lowest) {
                    lowest = now;
                }
            } while (now <= entry && state != cpu_Done && state != cpu_Crashed);
            if (avr->cycle - start >= LONGEST_CYCLES) {
                fprintf(stderr, "a decision took %llu cycles\n", (unsigned long long)(avr->cycle - start));
                return 1;
            }
            calls[avr->cycle - start]++;
            if (entry + RETURN_BYTES - lowest > deepest) {
                deepest = entry + RETURN_BYTES - lowest;
            }
        } else {
            state = step(avr);
        }
    }
    for (cycles = 0; cycles < LONGEST_CYCLES; cycles++) {
        if (calls[cycles] != 0) {
            printf("c %x %x\n", cycles, calls[cycles]);
        }
    }
    printf("s %x 0\n", deepest);
    return state == cpu_Crashed ? 1 : 0;
}
