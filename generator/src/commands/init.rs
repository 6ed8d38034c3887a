//! `millpond init`: a commented node file to start from.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};

use crate::cli::{Example, Init};
use crate::failure::Failure;

/// Writes the example to a file that must not exist yet.
pub(crate) fn run(arguments: &Init) -> Result<(), Failure> {
    let path = &arguments.file;
    let shown = path.display();
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|error| match error.kind() {
            ErrorKind::AlreadyExists => Failure::Unusable(format!(
                "{shown} exists and is left as it is; choose another name"
            )),
            _ => Failure::Unusable(format!("{shown} cannot be written: {error}")),
        })?;
    file.write_all(text(arguments.example).as_bytes())
        .map_err(|error| Failure::Unusable(format!("{shown} cannot be written: {error}")))?;
    eprintln!("wrote {shown}; next: millpond check {shown}");
    Ok(())
}

fn text(example: Example) -> &'static str {
    match example {
        Example::CrackGauge => include_str!("../../../templates/nodes/crack-gauge.toml"),
        Example::DisplayCase => include_str!("../../../templates/nodes/display-case.toml"),
        Example::PumpBearing => include_str!("../../../templates/nodes/pump-bearing.toml"),
    }
}
