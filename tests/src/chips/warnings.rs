//! `millpond-policy` must build for every chip without a warning.

use super::ChipsError;
use super::compile::{call, cargo_build};

/// The targets that the crate promises, by Rust's names.
const TRIPLES: [&str; 4] = [
    "thumbv6m-none-eabi",
    "thumbv7em-none-eabihf",
    "riscv32imc-unknown-none-elf",
    "avr-none",
];

/// Builds the crate for each target, and gives back what the compiler warns of.
///
/// # Errors
///
/// A compiler that is missing, or a build that fails.
pub fn policy_core_warnings() -> Result<Vec<String>, ChipsError> {
    let mut warnings = Vec::new();
    for triple in TRIPLES {
        let mut command = cargo_build(triple)?;
        // In the firmware's profile, in which Rust's own library is built already.
        command
            .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/chips/firmware"))
            .args(["--package", "millpond-policy", "--locked"]);
        let called = call(&mut command)?;
        if called.stderr.contains("warning") {
            warnings.push(format!("{triple}:\n{}", called.stderr));
        }
    }
    Ok(warnings)
}
