//! `millpond fit`: parameters and findings from a bench log.

use std::path::Path;

use millpond::emit;
use millpond::fit::{Fit, Known, write};
use millpond::input::{self, LoadError};
use millpond::log::{self, Log};
use millpond::node::NodeFile;
use millpond::printout::{self, Format};
use millpond::problem::InputText;
use millpond::visible::{self, visible};

use crate::cli::Fit as Arguments;
use crate::failure::Failure;

/// node file, log → fit → printout, and a copy of the node file
pub(crate) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let log = log(&input::read(&arguments.log, log::LIMIT)?)?;
    let fit = Fit::of(
        &file.node,
        &log,
        &Known {
            capacitance: arguments.capacitance,
            sleep_current: arguments.sleep_current,
        },
    );
    super::print(&match arguments.format.into() {
        Format::Text => printout::fit::text(&file.node.name, &log, &fit),
        Format::Json => printout::json(&printout::fit::View::of(&file.node.name, &fit)),
    })?;
    let Some(target) = &arguments.write else {
        return Ok(());
    };
    let written = write::written(&file, &fit)
        .map_err(|error| Failure::Refused(format!("{}: {error}\n", visible::path(target))))?;
    // Profiles are named from the file's own folder: the copy has to be a node that can be read there.
    let folder = target.parent().unwrap_or(Path::new(""));
    NodeFile::parse(&target.to_string_lossy(), &written.text, folder).map_err(Failure::Faults)?;
    for note in &written.notes {
        super::say(&format!("{}: {note}", visible::path(target)));
    }
    super::write(&[(target.clone(), emit::marked_copy(&written.text))])
}

/// The log of a file; rows and events that were passed over are said on standard error.
pub(super) fn log(file: &InputText) -> Result<Log, Failure> {
    let log = Log::parse(&file.path, &file.text).map_err(LoadError::Refused)?;
    let path = visible(&file.path);
    for (line, reason) in &log.skipped_rows {
        super::say(&format!("{path}:{line}: passed over: {reason}"));
    }
    if log.skipped > log.skipped_rows.len() {
        super::say(&format!(
            "{path}: {} more rows were passed over",
            log.skipped - log.skipped_rows.len()
        ));
    }
    for (line, reason) in &log.skipped_events {
        super::say(&format!("{path}:{line}: event passed over: {reason}"));
    }
    Ok(log)
}
