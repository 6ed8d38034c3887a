//! What the tests of machine and surroundings share: a folder of inputs, the commands that read it, the tool.

use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

pub(crate) const TOOL: &str = env!("CARGO_BIN_EXE_millpond");
pub(crate) const GAUGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../templates/nodes/crack-gauge.toml");
pub(crate) const CELL: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/tests/data/edlc/maker-a-300mA-part1.csv"
);
/// A bench log of a day in the dark.
pub(crate) fn log() -> String {
    let rows = (0..145).map(|row| format!("{},{}\n", 600 * row, 3600 - 4 * row));
    format!("time_s,storage_mv\n{}", rows.collect::<String>())
}

/// A folder with everything that commands read.
pub(crate) fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).expect("written");
    write("node.toml", &fs::read_to_string(GAUGE).expect("readable"));
    write("log.csv", &log());
    write("trace.csv", "time_s,irradiance_w_m2\n0,100\n43200,0\n86400,100\n");
    write("cell.csv", &fs::read_to_string(CELL).expect("readable"));
    write(
        "parts.csv",
        "name,capacitance,esr,rated_voltage,leakage\none,1 F,2 ohm,5.5 V,4 uA\n",
    );
    folder
}

/// Commands that answer on standard output.
pub(crate) const ANSWERS: [&[&str]; 12] = [
    &["check", "node.toml"],
    &["budget", "node.toml", "--format", "json"],
    &["thresholds", "node.toml"],
    &["generate", "node.toml"],
    &["simulate", "node.toml", "--days", "1"],
    &["survival", "node.toml"],
    &["fit", "node.toml", "log.csv"],
    &["cell", "cell.csv", "--current", "0.3", "--rated", "3"],
    &["dividers", "node.toml"],
    &["compare", "node.toml", "node.toml"],
    &["completions", "zsh"],
    &["--help"],
];

pub(crate) fn millpond<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Command {
    let mut command = Command::new(TOOL);
    command.args(arguments).current_dir(folder).stdin(Stdio::null());
    command
}

pub(crate) fn run<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Output {
    millpond(folder, arguments).output().expect("the command starts")
}

pub(crate) fn errors(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}
