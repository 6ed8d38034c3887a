/* Hands the functions of each generated header to the Rust side, through one table for each node. All headers stand in
 * one translation unit, as they may in a firmware that serves two boards. */
#define CRACK_GAUGE_TICKS_PER_S 1000
#define PUMP_BEARING_TICKS_PER_S 32768
#define PUMP_BEARING_TICK_BITS 24
#define DISPLAY_CASE_TICKS_PER_S 32768
#define DISPLAY_CASE_TICK_BITS 16
#define SMALLEST_TICKS_PER_S 1
#define SMALLEST_TICK_BITS 1
#define LARGEST_TICKS_PER_S 4294967295
#define LARGEST_TICK_BITS 32
#define SUPPLY_READ_TICKS_PER_S 1024
#define SUPPLY_READ_LARGEST_TICKS_PER_S 32768
#define SUPPLY_READ_LARGEST_TICK_BITS 16
#include "crack_gauge.h"
#include "pump_bearing.h"
#include "display_case.h"
#include "smallest.h"
#include "largest.h"
#include "supply_read.h"
#include "supply_read_largest.h"

struct shim_decision {
    uint8_t action;
    uint8_t reason;
    uint16_t wait_s;
};

struct shim_state {
    uint16_t since_measure_s;
    uint16_t transmit_after_s;
    uint8_t refused;
};

struct shim {
    uint32_t world_bytes;
    void (*start)(void *world);
    void (*state)(const void *world, struct shim_state *state);
    void (*set_state)(void *world, const struct shim_state *state);
    void (*decide)(void *world, uint16_t storage_mv, uint32_t elapsed_s, uint8_t waiting, struct shim_decision *out);
    void (*pack)(const void *world, uint8_t *copy);
    uint8_t (*unpack)(void *world, const uint8_t *copy, uint16_t length);
    uint8_t (*unpack_after)(void *world, const uint8_t *copy, uint16_t length, uint32_t outage_s);
    uint8_t (*waiting)(const void *world);
    uint16_t (*dropped)(const void *world);
    void (*push)(void *world, uint16_t sample);
    uint8_t (*pop)(void *world, uint16_t *sample);
    const uint16_t *(*at)(const void *world, uint8_t index);
    uint16_t (*take_dropped)(void *world);
    uint16_t (*storage_mv_from_counts)(uint16_t counts);
    uint32_t (*stored_uj)(uint16_t storage_mv);
    void (*observe)(void *world, uint16_t storage_mv, uint32_t elapsed_s, uint32_t spent_uj);
    uint32_t (*income_uw)(const void *world);
    uint32_t (*elapsed_since)(uint32_t previous_s, uint32_t now_s);
    void (*ticks_start)(void *world, uint32_t now_ticks);
    uint32_t (*elapsed_s)(void *world, uint32_t now_ticks);
    uint32_t (*whole_seconds)(uint32_t *remainder_ticks, uint32_t passed_ticks, uint32_t per_s);
};

#define SHIM(p, table)                                                                                                 \
    struct p##_world {                                                                                                 \
        struct p##_state state;                                                                                        \
        struct p##_backlog backlog;                                                                                    \
        struct p##_income income;                                                                                      \
        struct p##_ticks ticks;                                                                                        \
    };                                                                                                                 \
    static void p##_shim_start(void *world)                                                                            \
    {                                                                                                                  \
        struct p##_world *w = (struct p##_world *)world;                                                               \
        p##_cold_start(&w->state);                                                                                     \
        p##_backlog_clear(&w->backlog);                                                                                \
        p##_income_start(&w->income);                                                                                  \
    }                                                                                                                  \
    static void p##_shim_state(const void *world, struct shim_state *state)                                            \
    {                                                                                                                  \
        const struct p##_world *w = (const struct p##_world *)world;                                                   \
        state->since_measure_s = w->state.since_measure_s;                                                             \
        state->transmit_after_s = w->state.transmit_after_s;                                                           \
        state->refused = w->state.refused;                                                                             \
    }                                                                                                                  \
    static void p##_shim_set_state(void *world, const struct shim_state *state)                                        \
    {                                                                                                                  \
        struct p##_world *w = (struct p##_world *)world;                                                               \
        w->state.since_measure_s = state->since_measure_s;                                                             \
        w->state.transmit_after_s = state->transmit_after_s;                                                           \
        w->state.refused = state->refused;                                                                             \
    }                                                                                                                  \
    static void p##_shim_decide(                                                                                       \
        void *world, uint16_t storage_mv, uint32_t elapsed_s, uint8_t waiting, struct shim_decision *out)              \
    {                                                                                                                  \
        struct p##_decision d = p##_decide(&((struct p##_world *)world)->state, storage_mv, elapsed_s, waiting);       \
        out->action = d.action;                                                                                        \
        out->reason = d.reason;                                                                                        \
        out->wait_s = d.wait_s;                                                                                        \
    }                                                                                                                  \
    static void p##_shim_pack(const void *world, uint8_t *copy)                                                        \
    {                                                                                                                  \
        p##_pack(&((const struct p##_world *)world)->state, copy);                                                     \
    }                                                                                                                  \
    static uint8_t p##_shim_unpack(void *world, const uint8_t *copy, uint16_t length)                                  \
    {                                                                                                                  \
        return p##_unpack(&((struct p##_world *)world)->state, copy, length);                                          \
    }                                                                                                                  \
    static uint8_t p##_shim_unpack_after(void *world, const uint8_t *copy, uint16_t length, uint32_t outage_s)         \
    {                                                                                                                  \
        return p##_unpack_after(&((struct p##_world *)world)->state, copy, length, outage_s);                          \
    }                                                                                                                  \
    static uint8_t p##_shim_waiting(const void *world)                                                                 \
    {                                                                                                                  \
        return ((const struct p##_world *)world)->backlog.waiting;                                                     \
    }                                                                                                                  \
    static uint16_t p##_shim_dropped(const void *world)                                                                \
    {                                                                                                                  \
        return ((const struct p##_world *)world)->backlog.dropped;                                                     \
    }                                                                                                                  \
    static void p##_shim_push(void *world, uint16_t sample)                                                            \
    {                                                                                                                  \
        p##_backlog_push(&((struct p##_world *)world)->backlog, sample);                                               \
    }                                                                                                                  \
    static uint8_t p##_shim_pop(void *world, uint16_t *sample)                                                         \
    {                                                                                                                  \
        return p##_backlog_pop(&((struct p##_world *)world)->backlog, sample);                                         \
    }                                                                                                                  \
    static const uint16_t *p##_shim_at(const void *world, uint8_t index)                                               \
    {                                                                                                                  \
        return p##_backlog_at(&((const struct p##_world *)world)->backlog, index);                                     \
    }                                                                                                                  \
    static uint16_t p##_shim_take_dropped(void *world)                                                                 \
    {                                                                                                                  \
        return p##_backlog_take_dropped(&((struct p##_world *)world)->backlog);                                        \
    }                                                                                                                  \
    static void p##_shim_observe(void *world, uint16_t storage_mv, uint32_t elapsed_s, uint32_t spent_uj)              \
    {                                                                                                                  \
        p##_income_observe(&((struct p##_world *)world)->income, storage_mv, elapsed_s, spent_uj);                     \
    }                                                                                                                  \
    static uint32_t p##_shim_income_uw(const void *world)                                                              \
    {                                                                                                                  \
        return p##_income_uw(&((const struct p##_world *)world)->income);                                              \
    }                                                                                                                  \
    static void p##_shim_ticks_start(void *world, uint32_t now_ticks)                                                  \
    {                                                                                                                  \
        p##_ticks_start(&((struct p##_world *)world)->ticks, now_ticks);                                               \
    }                                                                                                                  \
    static uint32_t p##_shim_elapsed_s(void *world, uint32_t now_ticks)                                                \
    {                                                                                                                  \
        return p##_elapsed_s(&((struct p##_world *)world)->ticks, now_ticks);                                          \
    }                                                                                                                  \
    static uint32_t p##_shim_whole_seconds(uint32_t *remainder_ticks, uint32_t passed_ticks, uint32_t per_s)           \
    {                                                                                                                  \
        struct p##_ticks ticks;                                                                                        \
        uint32_t seconds;                                                                                              \
        ticks.remainder_ticks = *remainder_ticks;                                                                      \
        seconds = p##_whole_seconds(&ticks, passed_ticks, per_s);                                                      \
        *remainder_ticks = ticks.remainder_ticks;                                                                      \
        return seconds;                                                                                                \
    }                                                                                                                  \
    extern const struct shim table;                                                                                    \
    const struct shim table = {                                                                                        \
        (uint32_t)sizeof(struct p##_world), p##_shim_start,   p##_shim_state,        p##_shim_set_state,               \
        p##_shim_decide,                    p##_shim_pack,    p##_shim_unpack,       p##_shim_unpack_after,            \
        p##_shim_waiting,                   p##_shim_dropped, p##_shim_push,         p##_shim_pop,                     \
        p##_shim_at,                        p##_shim_take_dropped, p##_storage_mv_from_counts, p##_stored_uj,          \
        p##_shim_observe,                   p##_shim_income_uw, p##_elapsed_since,                                     \
        p##_shim_ticks_start,               p##_shim_elapsed_s, p##_shim_whole_seconds,                                \
    };

SHIM(crack_gauge, CRACK_GAUGE_SHIM)
SHIM(pump_bearing, PUMP_BEARING_SHIM)
SHIM(display_case, DISPLAY_CASE_SHIM)
SHIM(smallest, SMALLEST_SHIM)
SHIM(largest, LARGEST_SHIM)
SHIM(supply_read, SUPPLY_READ_SHIM)
SHIM(supply_read_largest, SUPPLY_READ_LARGEST_SHIM)
