//! The command as a user calls it.

use std::path::Path;
use std::process::{Command, Output};

/// Runs `millpond` in a folder, to its end.
pub(crate) fn millpond(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_millpond"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the command starts")
}
