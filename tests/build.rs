//! Writes the C header and the Rust module of each node for the agreement tests, and compiles the C side.

#[path = "nodes/planned.rs"]
mod planned;

use std::env;
use std::error::Error;
use std::fs;
use std::path::PathBuf;

use millpond::emit::{self, Constants, DecideCounts, EmittedPlan};
use millpond::generated::Refusal;
use millpond::input::LoadError;
use millpond_policy::{
    Costs, EnergyModel, PACE_ROWS, PaceRow, Plan, Policy, PolicyParts, Sense, SenseKind, WhenFull,
};

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
    println!("cargo::rerun-if-changed=agreement/planner_shim.c");
    let folder = PathBuf::from(env::var("OUT_DIR")?);
    let planned = planned::nodes(smallest(), largest());
    let chip = planned_chip()?;
    let own = own_node()?;
    for constants in nodes()?.into_iter().chain(planned).chain([chip]).chain(own) {
        let name = constants.node.replace('-', "_");
        fs::write(folder.join(format!("{name}.h")), emit::c_header(&constants))?;
        fs::write(folder.join(format!("{name}.rs")), emit::rust_module(&constants))?;
    }
    // The constants that the test of refused ones starts from.
    let plain = node("example", WhenFull::ThinEvenly, *Policy::EXAMPLE.parts());
    fs::write(folder.join("example.h"), emit::c_header(&plain))?;
    // The test links the library itself, so that nothing else of this package carries it.
    let mut build = cc::Build::new();
    build
        .file("agreement/shim.c")
        .file("agreement/planner_shim.c")
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

/// The nodes on which C and Rust must agree: the three examples, each with another rule for a full backlog, and two at the
/// ends of every range; of those that read a reference against their supply, one as it is built and one at the ends.
fn nodes() -> Result<[Constants; 7], Box<dyn Error>> {
    Ok([
        example("crack-gauge", WhenFull::ThinEvenly)?,
        example("pump-bearing", WhenFull::KeepNewest)?,
        example("display-case", WhenFull::KeepOldest)?,
        node("smallest", WhenFull::ThinEvenly, smallest()),
        node("largest", WhenFull::ThinEvenly, largest()),
        node("supply-read", WhenFull::KeepNewest, supply_read(4_915_200, 4_095)),
        node(
            "supply-read-largest",
            WhenFull::KeepOldest,
            supply_read(u32::MAX, u16::MAX),
        ),
    ])
}

/// The constants of an example node.
fn example(name: &str, when_full: WhenFull) -> Result<Constants, Box<dyn Error>> {
    let path = format!("../templates/nodes/{name}.toml");
    println!("cargo::rerun-if-changed={path}");
    Ok(Constants {
        when_full,
        ..millpond::generate(path)?.constants
    })
}

/// The node on the chips that plans.
fn planned_chip() -> Result<Constants, Box<dyn Error>> {
    Ok(Constants {
        node: "crack-gauge-planned".to_owned(),
        plan: Some(EmittedPlan {
            made_from: vec!["the example of the crate".to_owned()],
            parts: *Plan::EXAMPLE.parts(),
        }),
        ..example("crack-gauge", WhenFull::ThinEvenly)?
    })
}

/// The node file that the variable `MILLPOND_NODE` names, beside the others on the chips; seen from the top of the project.
fn own_node() -> Result<Option<Constants>, Box<dyn Error>> {
    println!("cargo::rerun-if-env-changed=MILLPOND_NODE");
    println!("cargo::rustc-check-cfg=cfg(own_node, own_node_plans)");
    let Some(path) = env::var_os("MILLPOND_NODE").map(PathBuf::from) else {
        return Ok(None);
    };
    let shown = path.display();
    let generated = match millpond::generate(PathBuf::from("..").join(&path)) {
        Ok(generated) => generated,
        Err(Refusal::File(LoadError::Unreadable { why, .. })) => {
            println!(
                "cargo::error=MILLPOND_NODE={shown} {why}; the path is seen from the top of the project"
            );
            return Err("the node that MILLPOND_NODE names cannot be read".into());
        }
        Err(refusal) => {
            println!("cargo::error=MILLPOND_NODE={shown} is refused:");
            for line in refusal.to_string().lines() {
                println!("cargo::error={line}");
            }
            return Err("the node that MILLPOND_NODE names is refused".into());
        }
    };
    for input in &generated.inputs {
        println!("cargo::rerun-if-changed={}", input.display());
    }
    println!("cargo::rustc-cfg=own_node");
    if generated.constants.plan.is_some() {
        println!("cargo::rustc-cfg=own_node_plans");
    }
    Ok(Some(Constants {
        node: "own".to_owned(),
        ..generated.constants
    }))
}

fn node(name: &str, when_full: WhenFull, parts: PolicyParts) -> Constants {
    Constants {
        node: name.to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        other_pace: None,
        input_hash: "0".repeat(64),
        parts,
        decide_counts: DecideCounts {
            measure: 425,
            transmit: 505,
        },
        when_full,
        thresholds: Vec::new(),
        plan: None,
    }
}

/// The example, reading a reference against its supply: 1.2 V in 12 bits are 1200 mV · 4096.
fn supply_read(count_scale: u32, maximum_count: u16) -> PolicyParts {
    PolicyParts {
        sense: Sense {
            kind: SenseKind::Reference,
            count_scale,
            count_shift: 0,
            maximum_count,
        },
        ..*Policy::EXAMPLE.parts()
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
            full_mv: 65_535,
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
            kind: SenseKind::Divider,
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
            full_mv: 65_535,
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
            kind: SenseKind::Divider,
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
