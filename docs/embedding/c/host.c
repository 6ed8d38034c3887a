/* Stands in for a board on a PC: two days of a node under a lamp that is on by day. The store is kept in microjoules, in the
 * policy's own model; the bench log goes to standard output. */
#include "hardware.h"
#include "policy.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The node is switched on at dusk, with its store at this voltage. */
#define START_MV 4000u
#define DAY_S 86400u
#define DAWN_S 43200u
/* What the lamp gives between dawn and the end of the day [uW]. */
#define LAMP_UW 1500u
#define END_S (2u * DAY_S)

static uint32_t now_s;
static uint32_t stored_uj;
/* Blank memory, as on the first day. */
static uint8_t retained[CRACK_GAUGE_RETAINED_BYTES];

/* Ends the run as the chip would end: without a word to the firmware. */
static void spend_uj(uint64_t spent_uj)
{
    if (spent_uj > stored_uj) {
        (void)fprintf(stderr, "the store ran empty after %lu s\n", (unsigned long)now_s);
        exit(EXIT_FAILURE);
    }
    stored_uj = (uint32_t)(stored_uj - spent_uj);
}

uint32_t hardware_now_s(void)
{
    return now_s;
}

/* The highest count, up to that of a full store, at which the policy counts on no more energy than there is. */
uint16_t hardware_storage_counts(void)
{
    uint16_t counts = CRACK_GAUGE_MAXIMUM_COUNTS;
    uint16_t storage_mv;

    for (; counts != 0u; counts--) {
        storage_mv = crack_gauge_storage_mv_from_counts(counts);
        if (storage_mv <= CRACK_GAUGE_FULL_MV && crack_gauge_stored_uj(storage_mv) <= stored_uj) {
            break;
        }
    }
    return counts;
}

/* Power-up asks once; the run begins here. */
void hardware_load(uint8_t *bytes, uint16_t length)
{
    stored_uj = crack_gauge_stored_uj(START_MV);
    (void)puts("time_s,storage_mv,count,event");
    (void)memcpy(bytes, retained, length);
}

void hardware_save(const uint8_t *bytes, uint16_t length)
{
    (void)memcpy(retained, bytes, length);
}

uint16_t hardware_measure(void)
{
    spend_uj(CRACK_GAUGE_MEASURE_UJ);
    return (uint16_t)(now_s >> 8);
}

uint8_t hardware_send(const uint16_t *samples, uint8_t length, uint16_t dropped)
{
    (void)samples;
    (void)length;
    (void)dropped;
    spend_uj(CRACK_GAUGE_TRANSMIT_UJ);
    return 1u;
}

void hardware_sleep_s(uint16_t seconds)
{
    uint64_t income_uw = now_s % DAY_S >= DAWN_S ? LAMP_UW : 0u;
    uint64_t full_uj = crack_gauge_stored_uj(CRACK_GAUGE_FULL_MV);
    uint64_t gained_uj = stored_uj + income_uw * seconds;
    uint64_t slept_uj = (uint64_t)CRACK_GAUGE_SLEEP_UW * seconds;

    now_s += seconds;
    if (gained_uj > full_uj + slept_uj) {
        gained_uj = full_uj + slept_uj;
    }
    stored_uj = (uint32_t)(gained_uj > slept_uj ? gained_uj - slept_uj : 0u);
    if (gained_uj < slept_uj) {
        spend_uj(1u);
    }
    if (now_s >= END_S) {
        exit(EXIT_SUCCESS);
    }
}

void hardware_log(uint32_t time_s, uint16_t storage_mv, uint16_t count, const char *event)
{
    (void)printf("%lu,%u,%u,%s\n", (unsigned long)time_s, storage_mv, count, event);
}
