//! Mistakes in the generator: model, thresholds, silence, the border to integers, the choice of a plan's settings, and the fit.

use crate::mutants::{Mutant, mistake};

const ACTIONS: &str = "generator/fit/src/fit/actions.rs";
const BANK: &str = "generator/model/src/model/bank.rs";
const BRANCHES: &str = "generator/model/src/model/branches.rs";
const BURST: &str = "generator/model/src/model/burst.rs";
const DARK: &str = "generator/model/src/model/time_in_the_dark.rs";
const DISCHARGE: &str = "generator/model/src/model/discharge.rs";
const DRAIN: &str = "generator/model/src/model/drain.rs";
const CELL_START: &str = "generator/fit/src/cell/start.rs";
const OWN: &str = "generator/fit/src/fit/own.rs";
const SILENCE: &str = "generator/sizing/src/policy/silence.rs";
const EFFICIENCY: &str = "generator/node/src/node/efficiency.rs";
const LEAKAGE: &str = "generator/model/src/model/leakage.rs";
const REGULATOR: &str = "generator/node/src/node/regulator.rs";
const LOAD: &str = "generator/model/src/model/load.rs";
const AIRTIME: &str = "generator/model/src/model/airtime.rs";
const PASSAGE: &str = "generator/model/src/model/passage.rs";
const READING: &str = "generator/model/src/model/reading.rs";
const THRESHOLDS: &str = "generator/sizing/src/thresholds.rs";
const START: &str = "generator/sizing/src/thresholds/start.rs";
const ROUNDING: &str = "generator/sizing/src/rounding.rs";
const DRILL: &str = "generator/simulation/src/plan/drill.rs";
const PRACTICE: &str = "generator/simulation/src/plan/practice.rs";
const SEARCH: &str = "generator/simulation/src/plan/tuning.rs";
const TYPICAL: &str = "generator/simulation/src/plan/typical.rs";

pub(crate) const IN_GENERATOR: [Mutant; 69] = [
    // Thresholds.
    mistake(
        THRESHOLDS,
        "wear.cold_resistance = true;",
        "wear.cold_resistance = false;",
    ),
    mistake(
        THRESHOLDS,
        "wear.aged_capacitance = true;",
        "wear.aged_capacitance = false;",
    ),
    mistake(
        THRESHOLDS,
        "let excess = node.margins.load;",
        "let excess = fraction(0.0);",
    ),
    mistake(
        THRESHOLDS,
        "supply.max(gate.disconnect_below * (fraction(1.0) + gate.tolerance))",
        "supply.max(gate.disconnect_below * (fraction(1.0) - gate.tolerance))",
    ),
    mistake(
        THRESHOLDS,
        "supply.max(gate.disconnect_below",
        "supply.min(gate.disconnect_below",
    ),
    mistake(
        THRESHOLDS,
        "node.harvest.maximum_current * corner.largest_resistance();",
        "node.harvest.maximum_current * corner.largest_resistance() / 2.0;",
    ),
    mistake(
        READING,
        "(truth + reference) * (self.divider_high - one)",
        "truth * (self.divider_high - one)",
    ),
    mistake(
        READING,
        "count: self.count_at(analogue),",
        "count: self.count_at(analogue) / 2.0,",
    ),
    mistake(
        THRESHOLDS,
        "(cause, error * (error / root))",
        "(cause, error / root * root)",
    ),
    mistake(
        THRESHOLDS,
        "let decide_mv = rounding::millivolts_up(terms.reached);",
        "let decide_mv = rounding::millivolts_down(terms.reached);",
    ),
    mistake(
        THRESHOLDS,
        "counts.decide(decide_mv)",
        "counts.decide(decide_mv - 1)",
    ),
    mistake(
        THRESHOLDS,
        "wanted.min(overvoltage_mv.saturating_sub(highest_mv))",
        "wanted",
    ),
    mistake(
        THRESHOLDS,
        "hysteresis_mv: wanted_mv.max(1)",
        "hysteresis_mv: wanted_mv",
    ),
    mistake(START, "        volts(high_v)\n", "        volts(low_v)\n"),
    mistake(START, "if low >= 0.0 {", "if low >= -0.01 {"),
    mistake(
        START,
        "let low_v = (high_v - fall_v).max(floor_v);",
        "let low_v = high_v - fall_v;",
    ),
    // The reading.
    mistake(
        READING,
        "(fraction(1.0) - sense.reference_tolerance).recip()",
        "fraction(1.0) + sense.reference_tolerance",
    ),
    mistake(
        READING,
        "divided(top * less, bottom * more)",
        "divided(top * less, bottom)",
    ),
    mistake(
        READING,
        "SenseKind::Divider => self.full_scale / self.counts(),",
        "SenseKind::Divider => self.full_scale / (self.counts() - 1.0),",
    ),
    mistake(
        READING,
        "SenseKind::Divider => self.count_at(analogue),",
        "SenseKind::Divider => volts(0.0),",
    ),
    mistake(READING, "(whole - reading).max(", "whole.max("),
    mistake(
        READING,
        "(truth + self.input_leakage * top)",
        "(truth + self.input_leakage * bottom)",
    ),
    mistake(READING, "(self.full_scale - leaking)", "(leaking - leaking)"),
    // Drains and loads.
    mistake(DRAIN, "current: load + *quiescent", "current: load"),
    mistake(REGULATOR, "*rail + *dropout", "*rail"),
    mistake(
        EFFICIENCY,
        "low + (*high - low) * position",
        "low + (*high - low) * (1.0 - position)",
    ),
    mistake(LOAD, "duration: duration * attempts,", "duration,"),
    mistake(
        LOAD,
        "Drain::of(regulator, phase.peak_current * raised)",
        "Drain::of(regulator, phase.peak_current)",
    ),
    mistake(
        LOAD,
        "Drain::of(regulator, sleep_current * (fraction(1.0) + excess))",
        "Drain::of(regulator, sleep_current)",
    ),
    mistake(
        AIRTIME,
        "f64::from(chips) * 1e3 > LONG_SYMBOL_MS * bandwidth_hz",
        "f64::from(chips) * 1e3 >= LONG_SYMBOL_MS * bandwidth_hz",
    ),
    mistake(
        AIRTIME,
        "f64::from(channels.saturating_sub(1))",
        "f64::from(*channels)",
    ),
    // The bank.
    mistake(
        BANK,
        "part.esr * series / parallel",
        "part.esr * parallel / series",
    ),
    mistake(
        BANK,
        "slope: part.capacitance_slope * share / series,",
        "slope: part.capacitance_slope * share,",
    ),
    mistake(
        LEAKAGE,
        "(grown + balance) * parallel",
        "grown + balance * parallel",
    ),
    mistake(BANK, "branch.slope * inner / 3.0", "branch.slope * inner / 2.0"),
    mistake(
        BANK,
        "branch.resistance * share * share",
        "branch.resistance * share",
    ),
    mistake(
        BRANCHES,
        "Some((terminal_v, self.leakage_s - falling_s))",
        "Some((terminal_v, self.leakage_s + falling_s))",
    ),
    // The discharge.
    mistake(
        BURST,
        "branch.slope > farads_per_volt(0.0)",
        "branch.slope < farads_per_volt(0.0)",
    ),
    mistake(
        BURST,
        ".max(resting(branch, floor, &stretch.peak))",
        ".max(resting(branch, floor, &stretch.drain))",
    ),
    mistake(
        BURST,
        "let terminal = floor.max(matched);",
        "let terminal = floor.max(matched / 2.0);",
    ),
    mistake(
        DISCHARGE,
        "let (mut lowest_v, _) = branches.terminal(state_v, peak)?;",
        "let (mut lowest_v, _) = branches.terminal(state_v, drawn)?;",
    ),
    mistake(
        DISCHARGE,
        "lowest_v.min(branches.terminal(state_v, peak)?.0)",
        "lowest_v.min(branches.terminal(state_v, drawn)?.0)",
    ),
    mistake(BRANCHES, "const A21: f64 = 2.0;", "const A21: f64 = 1.9;"),
    mistake(
        BRANCHES,
        "1.0 / (GAMMA * step_s) + at.rate[k] * at.bend_per_v[k]",
        "1.0 / (GAMMA * step_s) - at.rate[k] * at.bend_per_v[k]",
    ),
    mistake(BRANCHES, " + self.leakage_s * terminal_v;", ";"),
    mistake(DARK, "bank.leakage * v))", "bank.leakage * from))"),
    mistake(PASSAGE, "if given_a > most_a {", "if given_a > 2.0 * most_a {"),
    mistake(
        PASSAGE,
        "inner_v < harvest.cold_start.get::<volt>())",
        "inner_v > harvest.cold_start.get::<volt>())",
    ),
    // The border to integers.
    mistake(
        ROUNDING,
        "(count_mv * f64::from(1u32 << shift)).floor()",
        "(count_mv * f64::from(1u32 << shift)).ceil()",
    ),
    mistake(
        ROUNDING,
        "scaled(shift_before + shift_after).floor()",
        "scaled(shift_before + shift_after).ceil()",
    ),
    mistake(
        ROUNDING,
        "product <= f64::from(u32::MAX)",
        "product <= f64::from(i32::MAX)",
    ),
    mistake(
        ROUNDING,
        "u16::try_from(millivolts_up(floor))",
        "u16::try_from(millivolts_down(floor))",
    ),
    mistake(
        ROUNDING,
        "u16::try_from(millivolts_down(full))",
        "u16::try_from(millivolts_up(full))",
    ),
    mistake(ROUNDING, "seconds_up(time).saturating_add(1)", "seconds_up(time)"),
    // A plan's settings.
    mistake(SEARCH, "score - BROWNOUT_PRICE", "score + BROWNOUT_PRICE"),
    mistake(SEARCH, "libm::log(silence).max(0.0)", "libm::log(silence)"),
    mistake(
        SEARCH,
        "halvings < HALVINGS => halvings += 1",
        "halvings > HALVINGS => halvings += 1",
    ),
    mistake(
        PRACTICE,
        "* STEP_S).max(0.0);\n            worst_j",
        "* STEP_S);\n            worst_j",
    ),
    mistake(PRACTICE, "NOISE_KEPT * noise + fresh", "noise + fresh"),
    mistake(
        DRILL,
        "silent_s * silent_s / 2.0 + STEP_S * gap_s / 2.0",
        "silent_s * silent_s + STEP_S * gap_s / 2.0",
    ),
    mistake(
        DRILL,
        "if stored_j < store.connect_j {",
        "if stored_j < store.decide_j {",
    ),
    mistake(
        TYPICAL,
        "(lost - self.decide).max(joules(0.0))",
        "lost.max(joules(0.0))",
    ),
    // The silence of a duty limit.
    mistake(SILENCE, "span + after", "after"),
    mistake(
        SILENCE,
        "(load.duration, load.duration)",
        "(load.on_air, load.air_span)",
    ),
    // What a bench log and a discharge say.
    mistake(
        CELL_START,
        "sample.storage_v + PART_OF_RATE",
        "sample.storage_v - PART_OF_RATE",
    ),
    mistake(
        CELL_START,
        "let last = highest + following;",
        "let last = highest;",
    ),
    mistake(CELL_START, "let is_on_curve = ", "let is_on_curve = !"),
    mistake(
        OWN,
        "at_once > 0 && (is_coarse || at_once * BY_CHANCE >= all)",
        "at_once > 0",
    ),
    mistake(ACTIONS, "act.from_s -= busy_s;", "act.from_s -= 0.0 * busy_s;"),
];
