//! The `millpond` command, built from the libraries that the tests are built from.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use serde_json::Value;

/// Top of the project.
pub const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// The cargo that runs this program.
pub fn cargo() -> String {
    std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned())
}

/// Path of the command: what the variable `MILLPOND` names, or built when it is first asked for.
///
/// # Errors
///
/// What the compiler says.
pub fn millpond() -> Result<&'static Path, String> {
    static MILLPOND: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    match MILLPOND.get_or_init(build) {
        Ok(path) => Ok(path),
        Err(message) => Err(message.clone()),
    }
}

fn build() -> Result<PathBuf, String> {
    if let Some(path) = std::env::var_os("MILLPOND") {
        return Ok(path.into());
    }
    let done = Command::new(cargo())
        .args(["build", "--package", "millpond", "--profile", PROFILE])
        .args(["--message-format", "json-render-diagnostics"])
        .current_dir(ROOT)
        .stdin(Stdio::null())
        .output()
        .map_err(|error| format!("cargo: {error}"))?;
    let messages = String::from_utf8_lossy(&done.stdout);
    messages
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
        .ok_or_else(|| String::from_utf8_lossy(&done.stderr).into_owned())
}

/// As tests are compiled, or as a release where this program is one.
const PROFILE: &str = if cfg!(debug_assertions) { "test" } else { "release" };

/// `millpond workbench` with the page in it, built from this tree; arguments may follow.
///
/// It takes a compiler for WebAssembly (`generator/build.rs`), and minutes where nothing was built before.
pub fn workbench() -> Command {
    let mut command = Command::new(cargo());
    command
        .args(["run", "--quiet", "--package", "millpond", "--profile", PROFILE])
        .args(["--features", "workbench", "--", "workbench"])
        .current_dir(ROOT)
        .stdin(Stdio::null());
    command
}
