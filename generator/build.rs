//! With the feature `workbench`: compiles the library for WebAssembly, so that the command can write and serve its page. Without it:
//! nothing.
//!
//! The compiler is the one that builds everything else, if it has the target (`rustup target add wasm32-unknown-unknown`). Else the one
//! that `MILLPOND_WASM_RUSTC` names, or the system's own, which compiles the standard library from its source on the way.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

const TARGET: &str = "wasm32-unknown-unknown";
/// What cargo sets for this script when the feature is on.
const FEATURE: &str = "CARGO_FEATURE_WORKBENCH";
const PACKAGE: &str = "millpond-workbench";
/// Where distributions put a compiler that may have the source of its library beside it.
const SYSTEM_RUSTC: &str = "/usr/bin/rustc";
/// What the page is made from, seen from this folder.
const SOURCES: [&str; 6] = [
    "src",
    "workbench",
    "../policy-core/src",
    "../templates",
    "../Cargo.toml",
    "../Cargo.lock",
];
const CURE: &str = "the workbench needs a compiler for WebAssembly: `rustup target add wasm32-unknown-unknown`, or a rustc with \
                    the source of its library (some distributions have both as packages) named by MILLPOND_WASM_RUSTC; \
                    or leave out the feature `workbench`";

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-env-changed=MILLPOND_WASM_RUSTC");
    if env::var_os(FEATURE).is_none() {
        return;
    }
    for source in SOURCES {
        println!("cargo::rerun-if-changed={source}");
    }
    match wasm() {
        Ok(path) => println!("cargo::rustc-env=MILLPOND_WASM={}", path.display()),
        Err(message) => println!("cargo::error={message}"),
    }
}

/// The compiled library.
fn wasm() -> Result<PathBuf, String> {
    let folder = PathBuf::from(env::var_os("OUT_DIR").ok_or("no OUT_DIR")?).join("wasm");
    let mut command = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command
        .args([
            "build",
            "--quiet",
            "--profile",
            "page",
            "--package",
            PACKAGE,
            "--target",
            TARGET,
        ])
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
    choose_compiler(&mut command)?;
    let status = command
        .status()
        .map_err(|error| format!("cargo cannot be run: {error}"))?;
    if !status.success() {
        return Err(format!("{PACKAGE} was not compiled for {TARGET}; {CURE}"));
    }
    Ok(folder.join(TARGET).join("page").join("millpond_workbench.wasm"))
}

/// The first compiler that has the target's library, or the first that has its source.
fn choose_compiler(command: &mut Command) -> Result<(), String> {
    let own = env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned());
    let named = env::var("MILLPOND_WASM_RUSTC").ok();
    let compilers: Vec<&str> = named
        .as_deref()
        .into_iter()
        .chain([own.as_str(), SYSTEM_RUSTC])
        .collect();
    let library = Path::new("lib/rustlib").join(TARGET).join("lib");
    let source = Path::new("lib/rustlib/src/rust/library/std");
    if let Some(rustc) = compilers.iter().find(|rustc| has(rustc, &library)) {
        command.env("RUSTC", rustc);
        return Ok(());
    }
    let rustc = compilers.iter().find(|rustc| has(rustc, source)).ok_or(CURE)?;
    command
        .env("RUSTC", rustc)
        .env("RUSTC_BOOTSTRAP", "1")
        .env("CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER", linker())
        .arg("-Zbuild-std=std,panic_abort");
    Ok(())
}

/// Whether the compiler's own folder has this path.
fn has(rustc: &str, path: &Path) -> bool {
    let output = Command::new(rustc).args(["--print", "sysroot"]).output();
    output.is_ok_and(|output| {
        let sysroot = String::from_utf8_lossy(&output.stdout);
        Path::new(sysroot.trim()).join(path).exists()
    })
}

/// A linker for WebAssembly where the compiler brings none.
fn linker() -> &'static str {
    let runs = |program: &&str| {
        Command::new(program)
            .arg("--version")
            .output()
            .is_ok_and(|output| output.status.success())
    };
    ["wasm-ld", "rust-lld"]
        .iter()
        .find(|program| runs(program))
        .copied()
        .unwrap_or("rust-lld")
}
