/* The stream of readings, clock steps, samples and power losses that every target is given, and the digest of its answers.
 * The same as tests/chips/firmware/src/stream.rs, line by line: both take the same random numbers in the same order.
 *
 * The command line defines HEADER, the generated header; NODE(name) and CONSTANT(name), which put its prefix before a name; and
 * PLANNED for a node that plans. It also says how fast and how wide the counter of ticks is. */
#include "board.h"
#include HEADER

#define MULTIPLIER 1664525u
#define INCREMENT 1013904223u
#define DIGEST_START 2166136261u
#define DIGEST_PRIME 16777619u
#define NO_SAMPLE ((uint32_t)1u << 16)
#define RETAINED_BYTES CONSTANT(RETAINED_BYTES)
#define FIELD_BYTES 5u
#define STEPS_PER_DIGEST 1000u

#ifdef PLANNED
static struct NODE(planner) planner;
#endif

struct NODE(decision)
    decide_node(struct NODE(state) *state, uint16_t storage_mv, uint32_t elapsed_s, uint8_t waiting);

static struct NODE(state) state;
static struct NODE(backlog) backlog;
static struct NODE(income) income;
static uint32_t random_number;
static uint32_t digest;
static uint32_t now_s;
static struct NODE(ticks) ticks;
static uint32_t now_ticks;
static uint16_t walk_mv;
static uint16_t next_sample;
static uint8_t stale[RETAINED_BYTES];

/* A function of its own under a name that the harness knows. */
__attribute__((noinline, noclone)) struct NODE(decision)
    decide_node(struct NODE(state) *at, uint16_t storage_mv, uint32_t elapsed_s, uint8_t waiting)
{
#ifdef PLANNED
    return NODE(decide_planned)(at, &planner, storage_mv, elapsed_s, waiting);
#else
    return NODE(decide)(at, storage_mv, elapsed_s, waiting);
#endif
}

static void fold(uint32_t word)
{
    digest = (uint32_t)((digest ^ word) * DIGEST_PRIME);
}

/* The high half of the next random number: its low bits have short periods. */
static uint16_t draw(void)
{
    random_number = (uint32_t)(random_number * MULTIPLIER + INCREMENT);
    return (uint16_t)(random_number >> 16);
}

static uint32_t draw_long(void)
{
    uint32_t high = draw();
    uint32_t low = draw();

    return (high << 16) | low;
}

/* One of 0 to end - 1, without a division. */
static uint16_t below(uint16_t end)
{
    return (uint16_t)(((uint32_t)draw() * end) >> 16);
}

/* From a little below a threshold to a little above its hysteresis. */
static uint16_t near_mv(uint16_t threshold_mv)
{
    uint16_t hysteresis_mv = CONSTANT(HYSTERESIS_MV);

    return (uint16_t)(threshold_mv - 4u + below((uint16_t)(hysteresis_mv + 8u)));
}

/* Where a row of the pace table begins. */
static uint16_t pace_from_mv(uint16_t row)
{
    switch (row) {
    case 0u:
        return CONSTANT(PACE_1_FROM_MV);
    case 1u:
        return CONSTANT(PACE_2_FROM_MV);
    case 2u:
        return CONSTANT(PACE_3_FROM_MV);
    case 3u:
        return CONSTANT(PACE_4_FROM_MV);
    case 4u:
        return CONSTANT(PACE_5_FROM_MV);
    case 5u:
        return CONSTANT(PACE_6_FROM_MV);
    case 6u:
        return CONSTANT(PACE_7_FROM_MV);
    case 7u:
        return CONSTANT(PACE_8_FROM_MV);
    case 8u:
        return CONSTANT(PACE_9_FROM_MV);
    case 9u:
        return CONSTANT(PACE_10_FROM_MV);
    case 10u:
        return CONSTANT(PACE_11_FROM_MV);
    default:
        return CONSTANT(PACE_12_FROM_MV);
    }
}

/* A storage voltage: anywhere, at the ends, about a threshold or a row of the pace table, from counts, or near the one
 * before. */
static uint16_t next_reading_mv(void)
{
    uint16_t kind = below(16);
    uint16_t part;

    if (kind == 0u) {
        return draw();
    }
    if (kind == 1u) {
        return below(2) == 0u ? (uint16_t)0u : (uint16_t)65535u;
    }
    if (kind == 2u) {
        return near_mv(CONSTANT(MEASURE_MV));
    }
    if (kind == 3u) {
        return near_mv(CONSTANT(TRANSMIT_MV));
    }
    if (kind == 4u) {
        if (below(2) == 0u) {
            part = CONSTANT(MAXIMUM_COUNTS);
            part = (uint16_t)(part - 1u + below(4));
        } else {
            part = draw();
            part = (uint16_t)(part >> below(8));
        }
        return NODE(storage_mv_from_counts)(part);
    }
    if (kind == 5u) {
        part = pace_from_mv(below(12));
        return (uint16_t)(part - 1u + below(2));
    }
    part = below(80);
    if (kind <= 10u) {
        walk_mv = (uint16_t)(walk_mv + part) < part ? (uint16_t)65535u : (uint16_t)(walk_mv + part);
        if (walk_mv > CONSTANT(FULL_MV)) {
            walk_mv = CONSTANT(FLOOR_MV);
        }
    } else {
        walk_mv = walk_mv > part ? (uint16_t)(walk_mv - part) : (uint16_t)0u;
    }
    return walk_mv;
}

/* A clock step: none, seconds, an hour, about the end of 16 bits, a day, a clock that was set back, or anything. */
static uint32_t next_elapsed_s(void)
{
    uint16_t kind = below(32);

    if (kind <= 3u) {
        return 0u;
    }
    if (kind <= 15u) {
        return below(100);
    }
    if (kind <= 27u) {
        return below(4000);
    }
    if (kind == 28u) {
        return (uint32_t)65500u + below(100);
    }
    if (kind == 29u) {
        return (uint32_t)4000u + below(62000u);
    }
    if (kind == 30u) {
        return (uint32_t)4294967295u - below(3);
    }
    return draw_long();
}

static void fold_state(void)
{
    fold(state.since_measure_s | ((uint32_t)state.transmit_after_s << 16));
    fold(state.refused);
}

static void fold_backlog(void)
{
    const uint16_t *sample;

    fold(backlog.waiting | ((uint32_t)backlog.dropped << 16));
    sample = NODE(backlog_at)(&backlog, (uint8_t)below(CONSTANT(BACKLOG_SAMPLES)));
    fold(sample == 0 ? NO_SAMPLE : *sample);
}

#ifdef PLANNED
static void fold_planner(void)
{
    uint8_t slot;

    fold(planner.interval_s | ((uint32_t)(planner.learned == CONSTANT(PLAN_SLOTS)) << 16));
    for (slot = 0u; slot < CONSTANT(PLAN_SLOTS); slot++) {
        fold(planner.slots_units[slot]);
    }
}
#endif

static void act(uint8_t action)
{
    uint16_t count = CONSTANT(BATCH_SAMPLES) + 1u;
    uint16_t sample;

    if (action == CONSTANT(ACTION_MEASURE)) {
        NODE(backlog_push)(&backlog, next_sample);
        next_sample++;
    } else if (action == CONSTANT(ACTION_TRANSMIT)) {
        /* One report in four gets no answer: the samples stay. */
        if (below(4) != 0u) {
            fold(NODE(backlog_take_dropped)(&backlog));
            for (; count != 0u; count--) {
                fold(NODE(backlog_pop)(&backlog, &sample) != 0u ? sample : NO_SAMPLE);
            }
        }
    } else if (below(4) == 0u) {
        /* More samples than the decision asks for: the backlog must fill up, too. */
        NODE(backlog_push)(&backlog, draw());
    }
}

/* Puts right check bytes on a copy: its first bytes times powers of 2, and of the sum the remainder by the field's polynomial. */
static void seal(uint8_t *copy)
{
    uint32_t sum;
    uint32_t polynomial;
    uint8_t check;
    uint8_t place;
    uint8_t bit;

    for (check = 0u; check < FIELD_BYTES; check++) {
        sum = 0u;
        for (place = 0u; place < FIELD_BYTES; place++) {
            for (bit = 0u; bit < check; bit++) {
                sum <<= 1;
            }
            sum ^= copy[place];
        }
        polynomial = (uint32_t)0x11Du << 16;
        for (bit = 24u; bit >= 8u; bit--) {
            if (((sum >> bit) & 1u) != 0u) {
                sum ^= polynomial;
            }
            polynomial >>= 1;
        }
        copy[FIELD_BYTES + check] = (uint8_t)(sum & 255u);
    }
}

static void lose_power(void)
{
    uint8_t copy[RETAINED_BYTES];
    uint16_t length = RETAINED_BYTES;
    uint16_t near_s = CONSTANT(SPACING_S);
    uint16_t kind;
    uint8_t place;

    NODE(pack)(&state, copy);
    for (place = 0u; place < RETAINED_BYTES; place++) {
        fold(copy[place]);
    }
    kind = below(9);
    if (kind == 0u) {
        for (place = (uint8_t)below(RETAINED_BYTES); place < RETAINED_BYTES; place++) {
            copy[place] = 0xFFu;
        }
    } else if (kind == 1u) {
        for (place = (uint8_t)below(RETAINED_BYTES); place < RETAINED_BYTES; place++) {
            copy[place] = stale[place];
        }
    } else if (kind == 2u) {
        place = (uint8_t)below(RETAINED_BYTES);
        copy[place] = (uint8_t)(copy[place] ^ (1u << below(8)));
    } else if (kind == 3u) {
        for (place = 0u; place < RETAINED_BYTES; place++) {
            copy[place] = stale[place];
        }
    } else if (kind == 4u) {
        length = below(RETAINED_BYTES);
    } else if (kind == 5u) {
        /* Whole, but never packed by this policy in this state: only the rules for its content can find it. */
        place = (uint8_t)below(FIELD_BYTES + 2u);
        if (place >= FIELD_BYTES) {
            place = (uint8_t)(place + FIELD_BYTES);
        }
        copy[place] = (uint8_t)(draw() & 255u);
        seal(copy);
    } else if (kind == 6u) {
        near_s = (uint16_t)(near_s - 1u + below(3));
        copy[3] = (uint8_t)(near_s & 255u);
        copy[4] = (uint8_t)(near_s >> 8);
        seal(copy);
    } else if (kind == 7u) {
        copy[0] = (uint8_t)(8u + below(8));
        seal(copy);
    }
    if (below(2) == 0u) {
        (void)NODE(unpack)(&state, copy, length);
    } else {
        (void)NODE(unpack_after)(&state, copy, length, next_elapsed_s());
    }
    if (below(4) == 0u) {
        NODE(income_start)(&income);
        NODE(backlog_clear)(&backlog);
    }
#ifdef PLANNED
    if (below(8) == 0u) {
        NODE(planner_cold_start)(&planner);
    }
#endif
    fold_state();
}

/* One wake-up, what the firmware does then, and sometimes a power loss. */
static void step(void)
{
    struct NODE(decision) decision;
    uint16_t storage_mv = next_reading_mv();
    uint32_t previous_s = now_s;
    uint32_t elapsed_s;
    uint32_t spent_uj;
    uint32_t passed_ticks;
    uint16_t kind;
    uint8_t waiting;

    now_s = (uint32_t)(previous_s + next_elapsed_s());
    elapsed_s = NODE(elapsed_since)(previous_s, now_s);
    waiting = backlog.waiting;
    if (below(64) == 0u) {
        waiting = (uint8_t)(draw() & 255u);
    }
    fold(storage_mv);
    board_paint();
    board_start();
    decision = decide_node(&state, storage_mv, elapsed_s, waiting);
    board_stop();
    board_depth();
    fold(decision.action | ((uint32_t)decision.reason << 8) | ((uint32_t)decision.wait_s << 16));
    fold_state();
#ifdef PLANNED
    fold_planner();
    if (below(64) == 0u) {
        spent_uj = draw_long();
        spent_uj >>= below(32);
        NODE(planner_spend)(&planner, spent_uj);
    }
#endif
    act(decision.action);
    /* A radio that nobody hears for long. */
    if (below(64) == 0u) {
        for (kind = below(256); kind != 0u; kind--) {
            NODE(backlog_push)(&backlog, draw());
        }
    }
    fold_backlog();
    spent_uj = draw_long();
    spent_uj >>= below(32);
    NODE(income_observe)(&income, storage_mv, elapsed_s, spent_uj);
    fold(NODE(income_uw)(&income));
    /* Some ticks, up to a whole turn of their counter. */
    passed_ticks = draw_long();
    now_ticks = (uint32_t)(now_ticks + (passed_ticks >> below(32)));
    fold(NODE(elapsed_s)(&ticks, now_ticks));
    kind = below(128);
    if (kind == 0u) {
        lose_power();
    } else if (kind == 1u) {
        NODE(pack)(&state, stale);
    }
}

void stream_node(uint32_t steps)
{
    uint16_t since_digest = 0u;

    board_line('z', sizeof state, sizeof backlog - sizeof backlog.samples);
    board_line('i', sizeof income, 0u);
#ifdef PLANNED
    board_line('p', sizeof planner, 0u);
    NODE(planner_cold_start)(&planner);
#endif
    NODE(cold_start)(&state);
    NODE(backlog_clear)(&backlog);
    NODE(income_start)(&income);
    NODE(pack)(&state, stale);
    random_number = 1u;
    digest = DIGEST_START;
    now_s = 0u;
    now_ticks = 0u;
    NODE(ticks_start)(&ticks, now_ticks);
    walk_mv = CONSTANT(MEASURE_MV);
    next_sample = 0u;
    for (; steps != 0u; steps--) {
        step();
        since_digest++;
        if (since_digest == STEPS_PER_DIGEST) {
            since_digest = 0u;
            board_line('d', digest, 0u);
        }
    }
}
