//! With the feature `workbench`: compiles the library for WebAssembly, so that the command can write and serve its page. Without it:
//! nothing.

mod compiler;

use std::path::PathBuf;
use std::{env, fs};

/// What cargo sets for this script when the feature is on.
const FEATURE: &str = "CARGO_FEATURE_WORKBENCH";
const PACKAGE: &str = "millpond-workbench";
/// What the page is made from beside the crates of this folder, seen from it.
const SOURCES: [&str; 5] = [
    "src",
    "../policy-core/src",
    "../templates",
    "../Cargo.toml",
    "../Cargo.lock",
];
const CURE: &str = "the workbench needs a compiler for WebAssembly: `rustup target add wasm32-unknown-unknown`, or a rustc with \
                    the source of its library (some distributions have both as packages) named by MILLPOND_WASM_RUSTC; \
                    or leave out the feature `workbench`";

fn main() {
    println!("cargo::rerun-if-changed=wasm");
    println!("cargo::rerun-if-env-changed=MILLPOND_WASM_RUSTC");
    if env::var_os(FEATURE).is_none() {
        return;
    }
    let sources = SOURCES.iter().map(PathBuf::from).chain(crates());
    for source in sources {
        println!("cargo::rerun-if-changed={}", source.display());
    }
    match wasm() {
        Ok(path) => println!("cargo::rustc-env=MILLPOND_WASM={}", path.display()),
        Err(message) => println!("cargo::error={message}"),
    }
}

/// The crates inside this one.
fn crates() -> impl Iterator<Item = PathBuf> {
    let inside = fs::read_dir(".").into_iter().flatten().flatten();
    inside
        .map(|entry| entry.path())
        .filter(|folder| folder.join("Cargo.toml").is_file())
}

/// The compiled library.
fn wasm() -> Result<PathBuf, String> {
    let folder = PathBuf::from(env::var_os("OUT_DIR").ok_or("no OUT_DIR")?).join("wasm");
    let wanted = compiler::for_the_page();
    let mut command = wanted.cargo("rustc").ok_or(CURE)?;
    command
        .args(["--quiet", "--profile", "page", "--package", PACKAGE])
        // Not the Rust library that the crate is as well: cargo would leave out the optimisation across crates.
        .args(["--lib", "--crate-type", "cdylib"])
        .arg("--target-dir")
        .arg(&folder);
    // What is meant for this machine is not meant for a page; and the page's own build must not start another.
    for name in [
        "RUSTFLAGS",
        "CARGO_ENCODED_RUSTFLAGS",
        "RUSTC_WRAPPER",
        "RUSTC_WORKSPACE_WRAPPER",
        "CARGO_BUILD_TARGET",
        FEATURE,
    ] {
        command.env_remove(name);
    }
    let status = command
        .status()
        .map_err(|error| format!("cargo cannot be run: {error}"))?;
    if !status.success() {
        return Err(format!(
            "{PACKAGE} was not compiled for {}; {CURE}",
            wanted.target
        ));
    }
    Ok(folder
        .join(wanted.target)
        .join("page")
        .join("millpond_workbench.wasm"))
}
