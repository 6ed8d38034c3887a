//! The `millpond` command, built from the libraries that the tests are built from.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;

use crate::compiler;
use crate::tool::Tool;

/// The packages of the generator, in the order in which the data goes through them.
pub const GENERATOR: [&str; 12] = [
    "millpond-numbers",
    "millpond-node",
    "millpond-model",
    "millpond-sizing",
    "millpond-income",
    "millpond-records",
    "millpond-simulation",
    "millpond-findings",
    "millpond-build",
    "millpond-parts",
    "millpond-fit",
    "millpond",
];

/// Top of the project.
pub const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// The cargo that runs this program.
pub fn cargo() -> String {
    std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned())
}

/// Cargo's target folder, which this program stands in.
#[must_use]
pub fn target() -> PathBuf {
    let own = std::env::current_exe().unwrap_or_default();
    own.ancestors()
        .nth(2)
        .map_or_else(std::env::temp_dir, Path::to_owned)
}

/// Path of the command: what the variable `MILLPOND` names, or built when it is first asked for.
///
/// # Errors
///
/// What the compiler says.
pub fn millpond() -> Result<&'static Path, String> {
    static MILLPOND: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let built = MILLPOND.get_or_init(|| match std::env::var_os("MILLPOND") {
        Some(path) => Ok(path.into()),
        None => build(&[]),
    });
    built.as_deref().map_err(Clone::clone)
}

/// Builds the command with these features.
///
/// Where tests run, cargo is asked for what `cargo test --workspace` builds: of that nothing is built again. `cargo build` would choose
/// other features of the libraries.
fn build(features: &[&str]) -> Result<PathBuf, String> {
    let what: &[&str] = if cfg!(debug_assertions) {
        &["test", "--workspace", "--no-run", "--test", NEEDS_THE_COMMAND]
    } else {
        &["build", "--package", "millpond", "--release"]
    };
    let done = Command::new(cargo())
        .args(what)
        .args(features)
        .args(["--message-format", "json-render-diagnostics"])
        .current_dir(ROOT)
        .stdin(Stdio::null())
        .output()
        .map_err(|error| format!("cargo: {error}"))?;
    let messages = String::from_utf8_lossy(&done.stdout);
    messages
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .filter(|message| message["target"]["name"] == "millpond" && message["profile"]["test"] == false)
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
        .ok_or_else(|| String::from_utf8_lossy(&done.stderr).into_owned())
}

/// The page calculates, the command only writes and serves it.
const QUICKLY_BUILT: &str = "profile.test.package.millpond.opt-level = 0";

/// A test of the generator, for which cargo builds the command.
const NEEDS_THE_COMMAND: &str = "cli";

/// What [`workbench()`] needs beside the compiler of everything else.
const FOR_THE_PAGE: &str = "a compiler for WebAssembly (rustup target add wasm32-unknown-unknown, or Debian packages \
                                rustc-web, rust-web-src, libstd-rust-web-dev and lld)";

/// `tool`, which is missing without what `what` says, for a check that needs the page too; and what it is missing without.
#[must_use]
pub fn with_the_page(tool: Option<Tool>, what: &'static str) -> (Option<Tool>, &'static str) {
    if tool.is_none() || compiler::for_the_page().cargo("rustc").is_some() {
        (tool, what)
    } else {
        (None, FOR_THE_PAGE)
    }
}

/// `millpond workbench` with the page in it, built from this tree; arguments may follow.
///
/// It takes a compiler for WebAssembly ([`with_the_page`]), and minutes where nothing was built before. It stands where [`millpond()`]
/// stands: one program asks for one of them.
///
/// # Errors
///
/// What the compiler says.
pub fn workbench() -> Result<Command, String> {
    static WORKBENCH: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let built =
        WORKBENCH.get_or_init(|| build(&["--features", "millpond/workbench", "--config", QUICKLY_BUILT]));
    let mut command = Command::new(built.as_ref().map_err(Clone::clone)?);
    command.arg("workbench").current_dir(ROOT).stdin(Stdio::null());
    Ok(command)
}

/// Writes the workbench of a node file to `page`.
///
/// # Errors
///
/// What the command says, or why there is none.
pub fn write_page(node: &Path, page: &Path) -> Result<(), String> {
    let output = workbench()?.arg(node).arg("--output").arg(page).output();
    let output = output.map_err(|error| error.to_string())?;
    if output.status.success() {
        return Ok(());
    }
    Err(String::from_utf8_lossy(&output.stderr).into_owned())
}
