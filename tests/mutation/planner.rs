//! Mistakes in the planner of the crate. One in C is a difference between the two languages, which the agreement looks for in
//! fifteen million steps.

use crate::mutants::{Mutant, mistake, same};

const PLANNER: &str = "policy-core/src/planner.rs";
const PLAN: &str = "policy-core/src/plan.rs";

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
        PLANNER,
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
