//! Writes the constants of the node into `OUT_DIR/policy.rs`, again whenever a file that they come from changes.

use std::path::Path;
use std::process::ExitCode;
use std::{env, fs};

/// Your node file.
const NODE: &str = "../../../templates/nodes/crack-gauge.toml";

fn main() -> ExitCode {
    let generated = match millpond_build::generate(NODE) {
        Ok(generated) => generated,
        Err(refusal) => {
            // A build script that fails is run again with the next build, and cargo shows what it said.
            eprintln!("{refusal}");
            return ExitCode::FAILURE;
        }
    };
    for input in &generated.inputs {
        println!("cargo::rerun-if-changed={}", input.display());
    }
    for finding in &generated.findings {
        println!("cargo::warning={}", finding.text);
    }
    let folder = env::var_os("OUT_DIR").expect("cargo sets it for a build script");
    fs::write(Path::new(&folder).join("policy.rs"), generated.rust_module()).expect("cargo made the folder");
    ExitCode::SUCCESS
}
