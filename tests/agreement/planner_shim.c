/* The planner of each generated header that has one, through one table for each node; beside shim.c. */
#include "planned_0.h"
#include "planned_1.h"
#include "planned_2.h"
#include "planned_3.h"
#include "planned_4.h"
#include "planned_5.h"
#include "planned_6.h"
#include "planned_7.h"
#include "planned_8.h"
#include "planned_9.h"

struct planner_shim_decision {
    uint8_t action;
    uint8_t reason;
    uint16_t wait_s;
};

/* All that is remembered, laid out as the planner and the state are. */
struct planner_shim_memory {
    uint16_t slots_units[24];
    uint32_t balance_uj;
    uint16_t since_s;
    uint16_t interval_s;
    uint8_t slot;
    uint8_t ratio;
    uint8_t learned;
    uint16_t since_measure_s;
    uint16_t transmit_after_s;
    uint8_t refused;
};

struct planner_shim {
    uint32_t planner_bytes;
    void (*start)(struct planner_shim_memory *memory);
    void (*start_planner)(struct planner_shim_memory *memory);
    void (*observe)(struct planner_shim_memory *memory, uint16_t storage_mv, uint32_t elapsed_s);
    void (*spend)(struct planner_shim_memory *memory, uint32_t energy_uj);
    void (*decide)(struct planner_shim_memory *memory, uint16_t storage_mv, uint32_t elapsed_s, uint8_t waiting,
        struct planner_shim_decision *out);
};

#define PLANNED(p, table)                                                                                              \
    static struct p##_planner p##_shim_planner(const struct planner_shim_memory *memory)                               \
    {                                                                                                                  \
        struct p##_planner planner;                                                                                    \
        uint8_t slot;                                                                                                  \
        for (slot = 0u; slot < 24u; slot++) {                                                                          \
            planner.slots_units[slot] = memory->slots_units[slot];                                                     \
        }                                                                                                              \
        planner.balance_uj = memory->balance_uj;                                                                       \
        planner.since_s = memory->since_s;                                                                             \
        planner.interval_s = memory->interval_s;                                                                       \
        planner.slot = memory->slot;                                                                                   \
        planner.ratio = memory->ratio;                                                                                 \
        planner.learned = memory->learned;                                                                             \
        return planner;                                                                                                \
    }                                                                                                                  \
    static void p##_shim_remember(struct planner_shim_memory *memory, const struct p##_planner *planner)               \
    {                                                                                                                  \
        uint8_t slot;                                                                                                  \
        for (slot = 0u; slot < 24u; slot++) {                                                                          \
            memory->slots_units[slot] = planner->slots_units[slot];                                                    \
        }                                                                                                              \
        memory->balance_uj = planner->balance_uj;                                                                      \
        memory->since_s = planner->since_s;                                                                            \
        memory->interval_s = planner->interval_s;                                                                      \
        memory->slot = planner->slot;                                                                                  \
        memory->ratio = planner->ratio;                                                                                \
        memory->learned = planner->learned;                                                                            \
    }                                                                                                                  \
    static struct p##_state p##_shim_state(const struct planner_shim_memory *memory)                                   \
    {                                                                                                                  \
        struct p##_state state;                                                                                        \
        state.since_measure_s = memory->since_measure_s;                                                               \
        state.transmit_after_s = memory->transmit_after_s;                                                             \
        state.refused = memory->refused;                                                                               \
        return state;                                                                                                  \
    }                                                                                                                  \
    static void p##_shim_remember_state(struct planner_shim_memory *memory, const struct p##_state *state)             \
    {                                                                                                                  \
        memory->since_measure_s = state->since_measure_s;                                                              \
        memory->transmit_after_s = state->transmit_after_s;                                                            \
        memory->refused = state->refused;                                                                              \
    }                                                                                                                  \
    static void p##_shim_start_planner(struct planner_shim_memory *memory)                                             \
    {                                                                                                                  \
        struct p##_planner planner;                                                                                    \
        p##_planner_cold_start(&planner);                                                                              \
        p##_shim_remember(memory, &planner);                                                                           \
    }                                                                                                                  \
    static void p##_shim_start(struct planner_shim_memory *memory)                                                     \
    {                                                                                                                  \
        struct p##_state state;                                                                                        \
        p##_cold_start(&state);                                                                                        \
        p##_shim_remember_state(memory, &state);                                                                       \
        p##_shim_start_planner(memory);                                                                                \
    }                                                                                                                  \
    static void p##_shim_observe(struct planner_shim_memory *memory, uint16_t storage_mv, uint32_t elapsed_s)          \
    {                                                                                                                  \
        struct p##_planner planner = p##_shim_planner(memory);                                                         \
        p##_planner_observe(&planner, storage_mv, elapsed_s);                                                          \
        p##_shim_remember(memory, &planner);                                                                           \
    }                                                                                                                  \
    static void p##_shim_spend(struct planner_shim_memory *memory, uint32_t energy_uj)                                 \
    {                                                                                                                  \
        struct p##_planner planner = p##_shim_planner(memory);                                                         \
        p##_planner_spend(&planner, energy_uj);                                                                        \
        p##_shim_remember(memory, &planner);                                                                           \
    }                                                                                                                  \
    static void p##_shim_decide(struct planner_shim_memory *memory, uint16_t storage_mv, uint32_t elapsed_s,           \
        uint8_t waiting, struct planner_shim_decision *out)                                                            \
    {                                                                                                                  \
        struct p##_planner planner = p##_shim_planner(memory);                                                         \
        struct p##_state state = p##_shim_state(memory);                                                               \
        struct p##_decision decision = p##_decide_planned(&state, &planner, storage_mv, elapsed_s, waiting);           \
        p##_shim_remember(memory, &planner);                                                                           \
        p##_shim_remember_state(memory, &state);                                                                       \
        out->action = decision.action;                                                                                 \
        out->reason = decision.reason;                                                                                 \
        out->wait_s = decision.wait_s;                                                                                 \
    }                                                                                                                  \
    extern const struct planner_shim table;                                                                            \
    const struct planner_shim table = {(uint32_t)sizeof(struct p##_planner), p##_shim_start, p##_shim_start_planner,   \
        p##_shim_observe, p##_shim_spend, p##_shim_decide};

PLANNED(planned_0, PLANNED_0_SHIM)
PLANNED(planned_1, PLANNED_1_SHIM)
PLANNED(planned_2, PLANNED_2_SHIM)
PLANNED(planned_3, PLANNED_3_SHIM)
PLANNED(planned_4, PLANNED_4_SHIM)
PLANNED(planned_5, PLANNED_5_SHIM)
PLANNED(planned_6, PLANNED_6_SHIM)
PLANNED(planned_7, PLANNED_7_SHIM)
PLANNED(planned_8, PLANNED_8_SHIM)
PLANNED(planned_9, PLANNED_9_SHIM)
