/* The loop of a node: read at rest, decide, save, act. `policy.h` is written by the build from the node file. */
#include "hardware.h"
#include "policy.h"

/* Sends the oldest samples in one report. They leave the backlog only when it arrived. Returns 1 then. */
static uint8_t report(struct crack_gauge_backlog *backlog)
{
    uint16_t samples[CRACK_GAUGE_BATCH_SAMPLES];
    uint8_t length = 0u;
    const uint16_t *sample;

    while (length < CRACK_GAUGE_BATCH_SAMPLES && (sample = crack_gauge_backlog_at(backlog, length)) != 0) {
        samples[length] = *sample;
        length++;
    }
    if (hardware_send(samples, length, backlog->dropped) == 0u) {
        return 0u;
    }
    (void)crack_gauge_backlog_take_dropped(backlog);
    while (length != 0u) {
        (void)crack_gauge_backlog_pop(backlog, samples);
        length--;
    }
    return 1u;
}

int main(void)
{
    struct crack_gauge_state state;
    struct crack_gauge_backlog backlog;
    struct crack_gauge_decision decision;
    uint8_t copy[CRACK_GAUGE_RETAINED_BYTES];
    uint32_t previous_s = hardware_now_s();
    uint32_t now_s;
    uint16_t storage_mv;
    uint16_t count = 0u;

    /* No clock ran on: the radio stays silent for the off-time from here. A backlog in ordinary memory is lost. */
    hardware_load(copy, CRACK_GAUGE_RETAINED_BYTES);
    (void)crack_gauge_unpack(&state, copy, CRACK_GAUGE_RETAINED_BYTES);
    crack_gauge_backlog_clear(&backlog);
    storage_mv = crack_gauge_storage_mv_from_counts(hardware_storage_counts());
    hardware_log(previous_s, storage_mv, count, "start");

    for (;;) {
        now_s = hardware_now_s();
        storage_mv = crack_gauge_storage_mv_from_counts(hardware_storage_counts());
        decision =
            crack_gauge_decide(&state, storage_mv, crack_gauge_elapsed_since(previous_s, now_s), backlog.waiting);
        previous_s = now_s;

        /* Before acting: the power may fail in the action. */
        crack_gauge_pack(&state, copy);
        hardware_save(copy, CRACK_GAUGE_RETAINED_BYTES);

        switch (decision.action) {
        case CRACK_GAUGE_ACTION_MEASURE:
            crack_gauge_backlog_push(&backlog, hardware_measure());
            hardware_log(now_s, storage_mv, count, "measure");
            break;
        case CRACK_GAUGE_ACTION_TRANSMIT:
            count = (uint16_t)(count + report(&backlog));
            hardware_log(now_s, storage_mv, count, "transmit");
            break;
        default:
            hardware_log(now_s, storage_mv, count, "wait");
            hardware_sleep_s(decision.wait_s);
            break;
        }
    }
}
