//! The mutations: one small mistake each, as somebody could make it.

/// One mistake: in `file` the only `from` becomes `to`.
pub(crate) struct Mutant {
    /// From the root of the repository.
    pub(crate) file: &'static str,
    pub(crate) from: &'static str,
    pub(crate) to: &'static str,
    /// Why no test can tell it from the original; empty for a mistake that has to be caught.
    pub(crate) same_because: &'static str,
}

/// A mistake that has to be caught.
pub(crate) const fn mistake(file: &'static str, from: &'static str, to: &'static str) -> Mutant {
    same(file, from, to, "")
}

/// A change that changes nothing, kept to show that it was tried.
pub(crate) const fn same(
    file: &'static str,
    from: &'static str,
    to: &'static str,
    same_because: &'static str,
) -> Mutant {
    Mutant {
        file,
        from,
        to,
        same_because,
    }
}

/// Template of the C header.
const HEADER: &str = "templates/policy.h.jinja";

/// Mistakes in the C header, in terms of its template.
pub(crate) const IN_C: [Mutant; 59] = [
    // Rules.
    mistake(HEADER, "BATCH_SAMPLES < 1\n", "BATCH_SAMPLES < 0\n"),
    mistake(
        HEADER,
        "SPACING_S < {{ P }}OFF_TIME_S\n",
        "SPACING_S <= {{ P }}OFF_TIME_S\n",
    ),
    mistake(HEADER, "OFF_TIME_S > 65534\n", "OFF_TIME_S > 65535\n"),
    mistake(HEADER, "INCOME_SHIFT_BITS > 16\n", "INCOME_SHIFT_BITS > 17\n"),
    mistake(HEADER, "RETRY_S < 1\n", "RETRY_S < 0\n"),
    // Clock and state.
    mistake(
        HEADER,
        "(uint32_t)(now_s - previous_s)",
        "(uint32_t)(previous_s - now_s)",
    ),
    mistake(
        HEADER,
        "state->since_measure_s = 65535u;",
        "state->since_measure_s = 0u;",
    ),
    mistake(
        HEADER,
        "state->transmit_after_s = {{ P }}OFF_TIME_S;",
        "state->transmit_after_s = 0u;",
    ),
    mistake(
        HEADER,
        "(uint16_t)(elapsed_s >> 16) != 0u",
        "(uint16_t)(elapsed_s >> 17) != 0u",
    ),
    mistake(
        HEADER,
        "\n    since_s = (uint16_t)(since_s + passed_s);\n    if (since_s < passed_s",
        "\n    since_s = (uint16_t)(since_s + passed_s);\n    if (since_s <= passed_s",
    ),
    mistake(
        HEADER,
        "since_s = 65535u;\n    }\n    if (after_s",
        "since_s = 65534u;\n    }\n    if (after_s",
    ),
    same(
        HEADER,
        "after_s < passed_s",
        "after_s <= passed_s",
        "equal times are set to the same value",
    ),
    mistake(HEADER, "after_s = passed_s;", "after_s = 65535u;"),
    // Pace.
    mistake(
        HEADER,
        "while (storage_mv < from_mv)",
        "while (storage_mv <= from_mv)",
    ),
    mistake(HEADER, "next = rows;", "next = rows + 2;"),
    // Decision.
    mistake(
        HEADER,
        "waiting < {{ P }}BATCH_SAMPLES ?",
        "waiting <= {{ P }}BATCH_SAMPLES ?",
    ),
    mistake(
        HEADER,
        "{{ P }}SPACING_S - {{ P }}OFF_TIME_S;",
        "{{ P }}SPACING_S;",
    ),
    mistake(HEADER, "decision.wait_s = 65535u;", "decision.wait_s = 65534u;"),
    mistake(HEADER, "time_s > paced_s", "time_s >= paced_s"),
    same(
        HEADER,
        "time_s < state->since_measure_s",
        "time_s <= state->since_measure_s",
        "equal times are set to the same value",
    ),
    mistake(
        HEADER,
        "(state->refused & turn) != 0u",
        "(state->refused & turn) == 0u",
    ),
    mistake(
        HEADER,
        "gate_mv + {{ P }}HYSTERESIS_MV",
        "gate_mv - {{ P }}HYSTERESIS_MV",
    ),
    mistake(HEADER, "storage_mv < gate_mv", "storage_mv <= gate_mv"),
    mistake(HEADER, "state->refused | turn", "state->refused ^ turn"),
    mistake(HEADER, "time_s <= retry_s", "time_s < retry_s"),
    mistake(HEADER, "time_s = retry_s;", "time_s = (uint16_t)(retry_s - 1u);"),
    mistake(
        HEADER,
        "reason = (uint8_t){{ P }}REASON_LOW_STORAGE;",
        "reason = (uint8_t){{ P }}REASON_PACE;",
    ),
    mistake(HEADER, "time_s <= decision.wait_s", "time_s < decision.wait_s"),
    mistake(
        HEADER,
        "time_s == 0u && decision.action == (uint8_t){{ P }}ACTION_WAIT",
        "time_s == 0u",
    ),
    mistake(HEADER, "state->refused & ~decision.action", "state->refused"),
    mistake(
        HEADER,
        "state->transmit_after_s = {{ P }}SPACING_S;",
        "state->transmit_after_s = {{ P }}OFF_TIME_S;",
    ),
    mistake(
        HEADER,
        "state->since_measure_s = 0u;",
        "state->since_measure_s = 1u;",
    ),
    // Retained state.
    mistake(
        HEADER,
        "const uint8_t *end = copy + 5;",
        "const uint8_t *end = copy + 4;",
    ),
    mistake(HEADER, "doublings = index;", "doublings = index >> 1;"),
    mistake(HEADER, "!= 0u ? 29u : 0u", "!= 0u ? 27u : 0u"),
    mistake(HEADER, "state->refused | 8u", "state->refused | 4u"),
    mistake(HEADER, "index < 5u", "index < 4u"),
    mistake(HEADER, "uint8_t index = 5u;", "uint8_t index = 4u;"),
    // Seconds from ticks.
    mistake(
        HEADER,
        "stretch_ticks <= passed_ticks >> 1",
        "stretch_ticks <= passed_ticks >> 2",
    ),
    mistake(
        HEADER,
        "passed_ticks >= lacking_ticks",
        "passed_ticks > lacking_ticks",
    ),
    mistake(
        HEADER,
        "(32 - {{ P }}TICK_BITS)",
        "(31 - ({{ P }}TICK_BITS & 31))",
    ),
    mistake(HEADER, "ticks->remainder_ticks + passed_ticks", "passed_ticks"),
    mistake(
        HEADER,
        "length == {{ P }}RETAINED_BYTES",
        "length >= {{ P }}RETAINED_BYTES",
    ),
    mistake(
        HEADER,
        "state->transmit_after_s <= spacing_s",
        "state->transmit_after_s < spacing_s",
    ),
    mistake(HEADER, "state->refused < 4u", "state->refused < 5u"),
    mistake(
        HEADER,
        "unpack_number(copy + 10) == {{ P }}FINGERPRINT",
        "unpack_number(copy + 10) >= {{ P }}FINGERPRINT",
    ),
    mistake(
        HEADER,
        "state->transmit_after_s < off_time_s",
        "state->transmit_after_s > off_time_s",
    ),
    // Backlog.
    mistake(
        HEADER,
        "place >= {{ P }}BACKLOG_SAMPLES ?",
        "place > {{ P }}BACKLOG_SAMPLES ?",
    ),
    mistake(HEADER, "backlog->dropped != 65535u", "backlog->dropped != 65534u"),
    mistake(
        HEADER,
        "(backlog->waiting - index) & 1) == 0",
        "(backlog->waiting - index) & 1) != 0",
    ),
    mistake(HEADER, "backlog->stride != 128u", "backlog->stride != 64u"),
    mistake(
        HEADER,
        "(uint8_t)(backlog->stride - 1u)",
        "(uint8_t)(backlog->stride)",
    ),
    // Sensing, energy, income.
    mistake(HEADER, "counts = maximum_counts;", "counts = 0u;"),
    mistake(
        HEADER,
        "if (counts > maximum_counts || rest >= counts) {",
        "if (rest >= counts) {",
    ),
    mistake(
        HEADER,
        "if (rest >= counts) {\n            rest",
        "if (rest > counts) {\n            rest",
    ),
    mistake(
        HEADER,
        "{{ P }}FULL_MV;\n    uint32_t square = storage_mv > full_mv",
        "{{ P }}FULL_MV;\n    uint32_t square = storage_mv < full_mv",
    ),
    mistake(HEADER, "(elapsed_s >> 1) + (elapsed_s & 1u)", "(elapsed_s >> 1)"),
    mistake(HEADER, "change_uj = 4294967295u;", "change_uj = 0u;"),
    mistake(HEADER, "averaged_uj > change_uj ?", "averaged_uj < change_uj ?"),
];

const BACKLOG: &str = "policy-core/src/backlog.rs";
const CLOCK: &str = "policy-core/src/clock.rs";
const DECIDE: &str = "policy-core/src/decide.rs";
const ENERGY: &str = "policy-core/src/energy.rs";
const INCOME: &str = "policy-core/src/income.rs";
const PACE: &str = "policy-core/src/pace.rs";
const POLICY: &str = "policy-core/src/policy.rs";
const RETAINED: &str = "policy-core/src/retained.rs";
const SENSE: &str = "policy-core/src/sense.rs";
const STATE: &str = "policy-core/src/state.rs";
const TICKS: &str = "policy-core/src/ticks.rs";

/// Mistakes in the Rust crate.
pub(crate) const IN_RUST: [Mutant; 51] = [
    mistake(
        CLOCK,
        "now_s.wrapping_sub(previous_s)",
        "previous_s.wrapping_sub(now_s)",
    ),
    mistake(
        TICKS,
        "stretch_ticks <= rest_ticks >> 1",
        "stretch_ticks <= rest_ticks >> 2",
    ),
    mistake(TICKS, "rest_ticks >= lacking_ticks", "rest_ticks > lacking_ticks"),
    mistake(TICKS, " & Self::MASK_TICKS;\n        let", ";\n        let"),
    mistake(
        TICKS,
        "self.remainder_ticks = remainder_ticks;",
        "self.remainder_ticks = 0;",
    ),
    // Decision.
    mistake(
        DECIDE,
        "const NEVER_S: u16 = u16::MAX;",
        "const NEVER_S: u16 = u16::MAX - 1;",
    ),
    mistake(
        DECIDE,
        "self.time_s.max(self.gate_s)",
        "self.time_s.min(self.gate_s)",
    ),
    mistake(DECIDE, "self.gate_s >= self.time_s", "self.gate_s > self.time_s"),
    mistake(DECIDE, "self.time_s == 0 && self.gate_s != 0", "self.gate_s != 0"),
    mistake(
        DECIDE,
        "state.refused & refused_bit != 0",
        "state.refused & refused_bit == 0",
    ),
    mistake(
        DECIDE,
        "action_mv.wrapping_add(raised_mv)",
        "action_mv.wrapping_sub(raised_mv)",
    ),
    mistake(
        DECIDE,
        "reading.storage_mv < gate_mv",
        "reading.storage_mv <= gate_mv",
    ),
    mistake(
        DECIDE,
        "interval_s.saturating_sub(state.since_measure_s)",
        "interval_s",
    ),
    mistake(
        DECIDE,
        "reading.waiting >= parts.batch",
        "reading.waiting > parts.batch",
    ),
    mistake(
        DECIDE,
        "state.refused |= MEASURE_REFUSED",
        "state.refused = MEASURE_REFUSED",
    ),
    mistake(
        DECIDE,
        "state.refused |= TRANSMIT_REFUSED",
        "state.refused |= MEASURE_REFUSED",
    ),
    mistake(DECIDE, "if transmit_s == 0", "if transmit_s <= 1"),
    mistake(
        DECIDE,
        "state.transmit_after_s = parts.spacing_s",
        "state.transmit_after_s = parts.off_time_s",
    ),
    mistake(DECIDE, "state.refused &= !TRANSMIT_REFUSED", "state.refused = 0"),
    mistake(DECIDE, "state.since_measure_s = 0", "state.since_measure_s = 1"),
    mistake(DECIDE, "state.refused &= !MEASURE_REFUSED", "state.refused = 0"),
    mistake(DECIDE, "if transmit_s < measure_s", "if transmit_s <= measure_s"),
    mistake(
        DECIDE,
        "parts.spacing_s.wrapping_sub(parts.off_time_s)",
        "parts.spacing_s",
    ),
    mistake(
        DECIDE,
        "state.transmit_after_s > paced_s",
        "state.transmit_after_s >= paced_s",
    ),
    // Pace.
    mistake(PACE, "row.from_mv <= storage_mv", "row.from_mv < storage_mv"),
    mistake(PACE, "next.from_mv >= row.from_mv", "next.from_mv > row.from_mv"),
    mistake(PACE, "next.wait_s < row.wait_s", "next.wait_s <= row.wait_s"),
    // Rules.
    mistake(POLICY, "u16::MAX - 1", "u16::MAX - 2"),
    mistake(
        POLICY,
        "LARGEST_INCOME_SHIFT: u8 = 16",
        "LARGEST_INCOME_SHIFT: u8 = 15",
    ),
    mistake(
        POLICY,
        "parts.measure_mv < parts.energy.floor_mv",
        "parts.measure_mv <= parts.energy.floor_mv",
    ),
    mistake(
        POLICY,
        "parts.batch > parts.backlog",
        "parts.batch >= parts.backlog",
    ),
    mistake(
        POLICY,
        "parts.spacing_s < parts.off_time_s",
        "parts.spacing_s <= parts.off_time_s",
    ),
    // State and retained state.
    mistake(STATE, "since_measure_s: u16::MAX", "since_measure_s: 0"),
    mistake(STATE, "unwrap_or(u16::MAX)", "unwrap_or(u16::MAX - 1)"),
    mistake(
        STATE,
        "self.transmit_after_s.saturating_sub(elapsed_s)",
        "self.transmit_after_s.wrapping_sub(elapsed_s)",
    ),
    mistake(
        RETAINED,
        "FIELD_POLYNOMIAL: u8 = 0x1D",
        "FIELD_POLYNOMIAL: u8 = 0x1B",
    ),
    mistake(RETAINED, "for _ in 0..doublings {", "for _ in 0..doublings / 2 {"),
    mistake(RETAINED, " && are_right", ""),
    mistake(
        RETAINED,
        "transmit_after_s > parts.spacing_s",
        "transmit_after_s >= parts.spacing_s",
    ),
    mistake(RETAINED, "first & !REFUSED_BITS != FORMAT", "first < FORMAT"),
    mistake(
        RETAINED,
        "*mark == fingerprint.to_le_bytes()",
        "*mark <= fingerprint.to_le_bytes()",
    ),
    mistake(
        RETAINED,
        "transmit_after_s.max(parts.off_time_s)",
        "transmit_after_s.min(parts.off_time_s)",
    ),
    // Backlog.
    mistake(BACKLOG, "LARGEST_STRIDE: u8 = 128", "LARGEST_STRIDE: u8 = 64"),
    mistake(BACKLOG, "before & 1 == 0", "before & 1 == 1"),
    mistake(
        BACKLOG,
        "self.skip = self.stride.saturating_sub(1)",
        "self.skip = self.stride",
    ),
    // Sensing, energy, income.
    mistake(
        SENSE,
        "counts.min(self.maximum_count)",
        "counts.max(self.maximum_count)",
    ),
    mistake(SENSE, "counts > self.maximum_count || is_too_low", "is_too_low"),
    mistake(
        ENERGY,
        ".saturating_sub(floor_square)",
        ".wrapping_sub(floor_square)",
    ),
    mistake(INCOME, "elapsed_s > constant_s", "elapsed_s >= constant_s"),
    mistake(INCOME, ".saturating_add(elapsed_s & 1)", ""),
    mistake(
        INCOME,
        "kept_uj.saturating_sub(change_uj)",
        "kept_uj.wrapping_sub(change_uj)",
    ),
];
