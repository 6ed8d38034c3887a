//! Writes the C header and the Rust module of each node for the agreement tests, and compiles the C side.

use std::env;
use std::error::Error;
use std::fs;
use std::path::PathBuf;

use millpond::emit::{self, Constants, DecideCounts};
use millpond_policy::{Costs, EnergyModel, PACE_ROWS, PaceRow, Policy, PolicyParts, Sense, WhenFull};

/// Every warning that a firmware project may turn on is an error here.
const WARNINGS: [&str; 7] = [
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Wconversion",
    "-Wsign-conversion",
    "-Wshadow",
    "-Wundef",
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=agreement/shim.c");
    let folder = PathBuf::from(env::var("OUT_DIR")?);
    for constants in nodes() {
        let name = constants.node.replace('-', "_");
        fs::write(folder.join(format!("{name}.h")), emit::c_header(&constants))?;
        fs::write(folder.join(format!("{name}.rs")), emit::rust_module(&constants))?;
    }
    // The test links the library itself, so that nothing else of this package carries it.
    let mut build = cc::Build::new();
    build
        .file("agreement/shim.c")
        .include(&folder)
        .std("c99")
        .warnings(false)
        .warnings_into_errors(true);
    WARNINGS.iter().for_each(|warning| {
        build.flag(warning);
    });
    build.cargo_metadata(false).try_compile("agreement")?;
    println!("cargo::rustc-link-search=native={}", folder.display());
    Ok(())
}

/// The nodes on which C and Rust must agree: three like the examples, and two at the ends of every range.
fn nodes() -> [Constants; 5] {
    [
        node("crack-gauge", WhenFull::ThinEvenly, crack_gauge()),
        node("pump-bearing", WhenFull::KeepNewest, pump_bearing()),
        node("display-case", WhenFull::KeepOldest, display_case()),
        node("smallest", WhenFull::ThinEvenly, smallest()),
        node("largest", WhenFull::ThinEvenly, largest()),
    ]
}

fn node(name: &str, when_full: WhenFull, parts: PolicyParts) -> Constants {
    Constants {
        node: name.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        input_hash: "0".repeat(64),
        parts,
        decide_counts: DecideCounts {
            measure: 425,
            transmit: 505,
        },
        when_full,
        thresholds: Vec::new(),
    }
}

/// One report a sample, from a slow coin cell.
fn crack_gauge() -> PolicyParts {
    *Policy::EXAMPLE.parts()
}

/// Four samples a report, a small ceramic bank, no duty limit.
fn pump_bearing() -> PolicyParts {
    PolicyParts {
        measure_mv: 3_412,
        transmit_mv: 3_377,
        hysteresis_mv: 25,
        batch: 4,
        backlog: 16,
        off_time_s: 0,
        spacing_s: 10,
        retry_s: 5,
        pace: rows(3_800, 20, 3, 2),
        energy: EnergyModel {
            floor_mv: 2_900,
            energy_shift_before: 4,
            energy_scale: 12,
            energy_shift_after: 8,
        },
        costs: Costs {
            measure_uj: 310,
            transmit_uj: 820,
            sleep_uw: 6,
        },
        sense: Sense {
            count_scale: 1_048_575,
            count_shift: 20,
            maximum_count: 4_095,
        },
        income_shift: 8,
        fingerprint: 0xBEA2,
    }
}

/// A long off-time inside a longer spacing, two samples a report.
fn display_case() -> PolicyParts {
    PolicyParts {
        measure_mv: 2_050,
        transmit_mv: 2_288,
        hysteresis_mv: 60,
        batch: 2,
        backlog: 9,
        off_time_s: 600,
        spacing_s: 900,
        retry_s: 1_200,
        pace: rows(2_700, 55, 900, 700),
        energy: EnergyModel {
            floor_mv: 1_900,
            energy_shift_before: 12,
            energy_scale: 4_096,
            energy_shift_after: 3,
        },
        costs: Costs {
            measure_uj: 40,
            transmit_uj: 9_000,
            sleep_uw: 2,
        },
        sense: Sense {
            count_scale: 51,
            count_shift: 0,
            maximum_count: 65_535,
        },
        income_shift: 16,
        fingerprint: 0xD15C,
    }
}

/// The least of everything that the rules allow.
fn smallest() -> PolicyParts {
    PolicyParts {
        measure_mv: 0,
        transmit_mv: 0,
        hysteresis_mv: 0,
        batch: 1,
        backlog: 1,
        off_time_s: 0,
        spacing_s: 0,
        retry_s: 1,
        pace: rows(11, 1, 1, 0),
        energy: EnergyModel {
            floor_mv: 0,
            energy_shift_before: 0,
            energy_scale: 1,
            energy_shift_after: 0,
        },
        costs: Costs {
            measure_uj: 0,
            transmit_uj: 0,
            sleep_uw: 0,
        },
        sense: Sense {
            count_scale: 0,
            count_shift: 0,
            maximum_count: 0,
        },
        income_shift: 0,
        fingerprint: 0,
    }
}

/// The most of everything that the rules allow.
fn largest() -> PolicyParts {
    PolicyParts {
        measure_mv: 65_535,
        transmit_mv: 60_000,
        hysteresis_mv: 0,
        batch: 255,
        backlog: 255,
        off_time_s: 65_534,
        spacing_s: 65_535,
        retry_s: 65_535,
        pace: rows(65_535, 1_000, 65_535, 0),
        energy: EnergyModel {
            floor_mv: 60_000,
            energy_shift_before: 31,
            energy_scale: 65_535,
            energy_shift_after: 31,
        },
        costs: Costs {
            measure_uj: u32::MAX,
            transmit_uj: u32::MAX,
            sleep_uw: u32::MAX,
        },
        sense: Sense {
            count_scale: 65_537,
            count_shift: 15,
            maximum_count: 65_535,
        },
        income_shift: 16,
        fingerprint: 65_535,
    }
}

/// Rows from `from_mv` down in steps of `step_mv`, the last at 0, with waits from `wait_s` up in steps of `step_s`.
fn rows(from_mv: u16, step_mv: u16, wait_s: u16, step_s: u16) -> [PaceRow; PACE_ROWS] {
    std::array::from_fn(|index| {
        let index = index as u16;
        let is_last = usize::from(index) + 1 == PACE_ROWS;
        PaceRow {
            from_mv: if is_last { 0 } else { from_mv - index * step_mv },
            wait_s: wait_s + index * step_s,
        }
    })
}
