//! Mistakes in the planner, of the C header and of the crate.

use crate::mutants::{Mutant, mistake, same};

/// Template of the planner in C.
const PLANNER_HEADER: &str = "templates/planner.h.jinja";
const PLANNER: &str = "policy-core/src/planner.rs";
const DIVISION: &str = "policy-core/src/division.rs";
const PLAN: &str = "policy-core/src/plan.rs";

/// Mistakes in C, in terms of the template.
pub(crate) const IN_C_PLANNER: [Mutant; 47] = [
    // Rules.
    mistake(
        PLANNER_HEADER,
        "PLAN_UNIT_SHIFT_BITS > 16\n",
        "PLAN_UNIT_SHIFT_BITS > 17\n",
    ),
    mistake(
        PLANNER_HEADER,
        "PLAN_FULL_UNITS > 32767\n",
        "PLAN_FULL_UNITS > 32768\n",
    ),
    mistake(PLANNER_HEADER, "PLAN_SLEEP_UW * 7200", "PLAN_SLEEP_UW * 7199"),
    mistake(
        PLANNER_HEADER,
        "RESERVE_UNITS > {{ P }}PLAN_FULL_UNITS ||",
        "RESERVE_UNITS > {{ P }}PLAN_FULL_UNITS &&",
    ),
    mistake(
        PLANNER_HEADER,
        "PLAN_SAMPLE_UNIT_S < 1 ||",
        "PLAN_SAMPLE_UNIT_S < 0 ||",
    ),
    mistake(PLANNER_HEADER, "PLAN_GROWTH < 64\n", "PLAN_GROWTH <= 64\n"),
    mistake(PLANNER_HEADER, "PLAN_FASTEST_S < 1 ||", "PLAN_FASTEST_S < 0 ||"),
    mistake(
        PLANNER_HEADER,
        "PLAN_FASTEST_S > {{ P }}PLAN_SLOWEST_S\n",
        "PLAN_FASTEST_S >= {{ P }}PLAN_SLOWEST_S\n",
    ),
    // What it remembers and what is stored.
    mistake(
        PLANNER_HEADER,
        "planner->interval_s = 65535u;",
        "planner->interval_s = 0u;",
    ),
    mistake(
        PLANNER_HEADER,
        "planner->balance_uj ? (uint32_t)4294967295u",
        "planner->balance_uj ? (uint32_t)0u",
    ),
    mistake(
        PLANNER_HEADER,
        "PLAN_FULL_MV;\n    uint32_t square = storage_mv > full_mv",
        "PLAN_FULL_MV;\n    uint32_t square = storage_mv < full_mv",
    ),
    same(
        PLANNER_HEADER,
        "square <= floor_square) {\n        return 0u;\n    }\n    square = (uint32_t)(square - floor_square) >> {{ P }}PLAN_",
        "square < floor_square) {\n        return 0u;\n    }\n    square = (uint32_t)(square - floor_square) >> {{ P }}PLAN_",
        "at the floor both give 0",
    ),
    mistake(
        PLANNER_HEADER,
        "(uint32_t)(square - floor_square) >> {{ P }}PLAN_",
        "(uint32_t)square >> {{ P }}PLAN_",
    ),
    // Division and averages.
    same(
        PLANNER_HEADER,
        "if (rest >= divisor) {\n        return 65535u;",
        "if (rest > divisor) {\n        return 65535u;",
        "from equal on every bit of the long division is one: 65535",
    ),
    mistake(
        PLANNER_HEADER,
        "if (rest >= divisor) {\n            rest",
        "if (rest > divisor) {\n            rest",
    ),
    mistake(PLANNER_HEADER, "bit < 16u", "bit < 15u"),
    mistake(PLANNER_HEADER, "low >> 15", "low >> 14"),
    mistake(PLANNER_HEADER, "sum + 128u", "sum + 127u"),
    mistake(PLANNER_HEADER, "256u - weight", "255u - weight"),
    // What it learns.
    mistake(
        PLANNER_HEADER,
        "planner->slot >= {{ P }}PLAN_SLOTS) {\n        return",
        "planner->slot > {{ P }}PLAN_SLOTS) {\n        return",
    ),
    mistake(PLANNER_HEADER, "income = 4294967295u;", "income = 0u;"),
    mistake(
        PLANNER_HEADER,
        "storage_mv >= full_reading_mv",
        "storage_mv > full_reading_mv",
    ),
    mistake(
        PLANNER_HEADER,
        "seen_units < known_units",
        "seen_units > known_units",
    ),
    mistake(PLANNER_HEADER, "PLAN_GROWTH) >> 6", "PLAN_GROWTH) >> 5"),
    mistake(
        PLANNER_HEADER,
        "planner->learned++;",
        "planner->learned = {{ P }}PLAN_SLOTS;",
    ),
    mistake(PLANNER_HEADER, "full_units >> 9", "full_units >> 8"),
    mistake(PLANNER_HEADER, "today = 192u;", "today = 191u;"),
    mistake(PLANNER_HEADER, "64u + (today >> 8)", "64u - (today >> 8)"),
    // Slopes and the forecast.
    mistake(
        PLANNER_HEADER,
        "first_units * (int32_t)slots > units * (int32_t)first_slots",
        "first_units * (int32_t)first_slots > units * (int32_t)slots",
    ),
    mistake(
        PLANNER_HEADER,
        ": \"=r\"(number), \"+z\"(*next));\n    return number;\n#else\n    return *(*next)++;",
        ": \"=r\"(number), \"+z\"(*next));\n    return number;\n#else\n    return **next;",
    ),
    mistake(
        PLANNER_HEADER,
        "is_above = planner->ratio > 64u",
        "is_above = planner->ratio < 64u",
    ),
    mistake(PLANNER_HEADER, "have -= (int32_t)", "have += (int32_t)"),
    mistake(
        PLANNER_HEADER,
        "upper = have - (int32_t){{ P }}PLAN_RESERVE_UNITS;",
        "upper = have;",
    ),
    mistake(
        PLANNER_HEADER,
        "upper = have - (int32_t){{ P }}PLAN_TARGET_UNITS;",
        "upper = have - (int32_t){{ P }}PLAN_RESERVE_UNITS - 1;",
    ),
    mistake(PLANNER_HEADER, "most = least;", "most = upper;"),
    mistake(PLANNER_HEADER, "least = lower;", "least = upper;"),
    mistake(PLANNER_HEADER, "most = upper;\n", "most = lower;\n"),
    // The interval.
    same(
        PLANNER_HEADER,
        "most <= 0",
        "most < 0",
        "by 0 the quotient is 65535, which is cut to the slowest",
    ),
    mistake(PLANNER_HEADER, "interval_s++;", "interval_s--;"),
    mistake(
        PLANNER_HEADER,
        "interval_s < {{ P }}PLAN_FASTEST_S ?",
        "interval_s > {{ P }}PLAN_FASTEST_S ?",
    ),
    // Time and decisions.
    mistake(
        PLANNER_HEADER,
        "(elapsed_s > 65535u) {\n        passed_s = 65535u;",
        "(elapsed_s > 65535u) {\n        passed_s = 65534u;",
    ),
    mistake(PLANNER_HEADER, "since_s < 2u *", "since_s <= 2u *"),
    mistake(
        PLANNER_HEADER,
        "since_s >= {{ P }}PLAN_SLOT_S);",
        "since_s > {{ P }}PLAN_SLOT_S);",
    ),
    mistake(
        PLANNER_HEADER,
        "planner->learned == {{ P }}PLAN_SLOTS ? planner->interval_s",
        "planner->learned != {{ P }}PLAN_SLOTS ? planner->interval_s",
    ),
    mistake(PLANNER_HEADER, "PLAN_SLOT_S - planner->since_s", "PLAN_SLOT_S"),
    mistake(
        PLANNER_HEADER,
        "decision.wait_s > left_s",
        "decision.wait_s < left_s",
    ),
    mistake(
        PLANNER_HEADER,
        "(uint32_t){{ P }}PLAN_MEASURE_UJ :",
        "(uint32_t){{ P }}PLAN_TRANSMIT_UJ :",
    ),
];

/// Mistakes in the crate.
pub(crate) const IN_PLANNER: [Mutant; 24] = [
    // Slopes and the string.
    mistake(
        PLANNER,
        "self.units.wrapping_mul(other.slots) > other.units.wrapping_mul(self.slots)",
        "self.units > other.units",
    ),
    mistake(
        PLANNER,
        "if lower.is_above(least) {",
        "if least.is_above(lower) {",
    ),
    mistake(PLANNER, "if most.is_above(upper) {", "if upper.is_above(most) {"),
    mistake(
        PLANNER,
        "if lower.is_above(most) {\n                return most;",
        "if lower.is_above(most) {\n                return lower;",
    ),
    mistake(
        PLANNER,
        "if least.is_above(upper) {\n                return least;",
        "if least.is_above(upper) {\n                return upper;",
    ),
    same(
        PLANNER,
        "(target, target)",
        "(target, full)",
        "both bounds of the end are one, and the upper alone decides the answer",
    ),
    mistake(PLANNER, "{ (reserve, full) }", "{ (0, full) }"),
    mistake(PLANNER, "stored.min(full)", "stored"),
    mistake(PLANNER, ".wrapping_sub(sleep);", ";"),
    // The forecast.
    mistake(
        PLANNER,
        ".skip(usize::from(self.slot))",
        ".skip(usize::from(self.slot) + 1)",
    ),
    mistake(PLANNER, "one.wrapping_sub(whole)", "one.wrapping_add(whole)"),
    mistake(PLANNER, "CAUTION_BITS: u32 = 7", "CAUTION_BITS: u32 = 8"),
    // The interval.
    mistake(
        PLANNER,
        "quotient(needed, units).saturating_add(1)",
        "quotient(needed, units)",
    ),
    mistake(
        PLANNER,
        "interval_s.max(parts.fastest_s).min(parts.slowest_s)",
        "interval_s.min(parts.slowest_s)",
    ),
    mistake(
        DIVISION,
        "if rest >= divisor {\n            rest",
        "if rest > divisor {\n            rest",
    ),
    // What it learns.
    mistake(
        PLANNER,
        "storage_mv >= parts.full_reading_mv",
        "storage_mv > parts.full_reading_mv",
    ),
    mistake(PLANNER, ".max(known_units)\n", "\n"),
    mistake(PLANNER, ".min(LARGEST_RATIO)", ""),
    mistake(PLANNER, ".wrapping_add(WEIGHT_HALF)", ""),
    mistake(
        PLANNER,
        "if self.since_s < SLOT_S.wrapping_mul(2) {",
        "if self.since_s < SLOT_S.wrapping_mul(3) {",
    ),
    mistake(PLANNER, "SLOT_S.wrapping_sub(self.since_s)", "SLOT_S"),
    mistake(
        PLANNER,
        "Decision::Transmit => self.spend(parts.costs.transmit_uj)",
        "Decision::Transmit => self.spend(parts.costs.measure_uj)",
    ),
    // Rules.
    mistake(
        PLAN,
        "parts.growth < LEAST_GROWTH",
        "parts.growth <= LEAST_GROWTH",
    ),
    mistake(
        PLAN,
        "parts.fastest_s > parts.slowest_s",
        "parts.fastest_s >= parts.slowest_s",
    ),
];
