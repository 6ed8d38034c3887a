//! `millpond fit`: parameters and findings from a bench log.

use std::path::Path;

use millpond::fit::{Fit, Known, write};
use millpond::log::{Log, LogError};
use millpond::node::NodeFile;
use millpond::printout::{self, Format};

use crate::cli::Fit as Arguments;
use crate::failure::{Failure, colour};

/// node file, log → fit → printout, and a copy of the node file
pub(crate) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let log = log(&arguments.log)?;
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
    let text = write::written(&file.text, &fit)
        .map_err(|error| Failure::Refused(format!("{}: {error}\n", target.display())))?;
    // Profiles are named from the file's own folder: the copy has to be a node that can be read there.
    let folder = target.parent().unwrap_or(Path::new(""));
    if let Err(problems) = NodeFile::parse(&target.display().to_string(), &text, folder) {
        return Err(Failure::Refused(problems.render(colour())));
    }
    super::write(&[(target.clone(), text)])
}

/// The log at `path`; rows that were passed over are said on standard error.
pub(super) fn log(path: &Path) -> Result<Log, Failure> {
    let log = Log::load(path).map_err(|error| match error {
        LogError::Refused(problems) => Failure::Refused(problems.render(colour())),
        other => Failure::Unusable(other.to_string()),
    })?;
    let path = path.display();
    for (line, reason) in &log.skipped_rows {
        super::say(&format!("{path}:{line}: passed over: {reason}"));
    }
    if log.skipped > log.skipped_rows.len() {
        super::say(&format!(
            "{path}: {} more rows were passed over",
            log.skipped - log.skipped_rows.len()
        ));
    }
    Ok(log)
}
