//! `millpond init`: a commented node file to start from.

use std::io::ErrorKind;

use millpond::files;
use millpond::visible;

use crate::cli::{Example, Init};
use crate::failure::Failure;

/// Writes the example to a file that must not exist yet.
pub(crate) fn run(arguments: &Init) -> Result<(), Failure> {
    let path = &arguments.file;
    let shown = visible::path(path);
    files::write_new(path, text(arguments.example)).map_err(|error| {
        Failure::Unusable(match error.source.kind() {
            ErrorKind::AlreadyExists => format!("{shown} exists and is left as it is; choose another name"),
            _ => error.to_string(),
        })
    })?;
    super::say(&format!("wrote {shown}; next: millpond check {shown}"));
    Ok(())
}

fn text(example: Example) -> &'static str {
    match example {
        Example::CrackGauge => millpond_templates::nodes::CRACK_GAUGE,
        Example::DisplayCase => millpond_templates::nodes::DISPLAY_CASE,
        Example::PumpBearing => millpond_templates::nodes::PUMP_BEARING,
    }
}
