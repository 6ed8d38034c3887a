//! `millpond dividers`: resistors for the gate, the overvoltage limit and the sensing divider.

use millpond::dividers::{Dividers, Options};
use millpond::findings::Severity;
use millpond::node::NodeFile;
use millpond::printout::{self, Format};
use millpond::visible::visible;

use crate::cli;
use crate::failure::Failure;

/// node file → node → dividers → printout
pub(crate) fn run(arguments: &cli::Dividers) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let dividers = Dividers::of(
        &file.node,
        &Options {
            series: arguments.series,
            tolerance: arguments.tolerance,
            current_at_most: arguments.current_at_most,
            rows: arguments.rows as usize,
        },
    );
    super::print(&match arguments.format.into() {
        Format::Text => printout::dividers::text(&file.node.name, &dividers),
        Format::Json => printout::json(&printout::dividers::View::of(&file.node.name, &dividers)),
    })?;
    // What the findings say stands above already.
    let mut errors: Vec<&str> = Vec::new();
    for finding in &dividers.findings {
        if finding.severity == Severity::Error && !errors.contains(&finding.code) {
            errors.push(finding.code);
        }
    }
    if errors.is_empty() {
        return Ok(());
    }
    Err(Failure::Refused(format!(
        "{}: not every set can be built as it stands: {}\n",
        visible(&file.path),
        errors.join(", ")
    )))
}
