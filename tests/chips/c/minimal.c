/* The smallest firmware around the decision, to see what the policy adds to a program, and the same without it.
 * Everything that comes in and goes out is volatile, so that nothing is computed when it is compiled. */
#include <stdint.h>
#include HEADER

static volatile uint16_t storage_mv;
static volatile uint32_t elapsed_s;
static volatile uint8_t waiting;
static volatile uint8_t action;
static volatile uint16_t wait_s;
uint8_t retained[CONSTANT(RETAINED_BYTES)];

void minimal_node(uint32_t steps);
void minimal_base(uint32_t steps);

void minimal_node(uint32_t steps)
{
    struct NODE(state) state;
#ifdef PLANNED
    struct NODE(planner) planner;

    NODE(planner_cold_start)(&planner);
#endif
    (void)steps;
    (void)NODE(unpack)(&state, retained, sizeof retained);
    for (;;) {
        uint16_t read_mv = storage_mv;
        uint32_t passed_s = elapsed_s;
#ifdef PLANNED
        struct NODE(decision) decision = NODE(decide_planned)(&state, &planner, read_mv, passed_s, waiting);
#else
        struct NODE(decision) decision = NODE(decide)(&state, read_mv, passed_s, waiting);
#endif

        NODE(pack)(&state, retained);
        /* The retained copy leaves the program here. */
        __asm__ volatile("" : : : "memory");
        action = decision.action;
        wait_s = decision.wait_s;
    }
}

void minimal_base(uint32_t steps)
{
    (void)steps;
    for (;;) {
        uint16_t read_mv = storage_mv;
        uint32_t passed_s = elapsed_s;

        action = waiting;
        wait_s = (uint16_t)(read_mv ^ passed_s);
    }
}
