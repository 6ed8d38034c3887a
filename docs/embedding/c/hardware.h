/* What the loop in main.c needs of a board. A firmware writes these functions for its chip; host.c stands in for one on a PC. */
#ifndef HARDWARE_H
#define HARDWARE_H

#include <stdint.h>

/* Free-running counter of seconds. It may wrap at 2^32 and starts anywhere; it runs on while the node sleeps [s]. From a counter
 * of ticks: the sum of what crack_gauge_elapsed_s answers, never ticks by a division. */
uint32_t hardware_now_s(void);

/* Raw reading of the storage divider at rest: radio off, reference settled, mean of a few conversions [counts]. */
uint16_t hardware_storage_counts(void);

/* Reads and writes memory that outlives a power loss. Any bytes may come back. They are written from the first to the last,
 * and are there when it returns. */
void hardware_load(uint8_t *bytes, uint16_t length);
void hardware_save(const uint8_t *bytes, uint16_t length);

/* Takes one sample: the phases of [measure] in the node file, and nothing more. */
uint16_t hardware_measure(void);

/* Sends one report with all its retries: the phases of [transmit] in the node file, and nothing more. Returns 1 when it
 * arrived, as far as the node can know. */
uint8_t hardware_send(const uint16_t *samples, uint8_t length, uint16_t dropped);

/* Sleeps, with everything off but the counter [s]. */
void hardware_sleep_s(uint16_t seconds);

/* Writes one row of the bench log. A unit in the field may do nothing here. */
void hardware_log(uint32_t time_s, uint16_t storage_mv, uint16_t count, const char *event);

#endif /* HARDWARE_H */
