//! `millpond check`: everything there is to say about a node before its constants are written.

use millpond::budget::Budget;
use millpond::findings::{self, Severity};
use millpond::node::NodeFile;
use millpond::printout::{self, Format};
use millpond::thresholds::Thresholds;

use crate::cli::Print;
use crate::failure::Failure;

/// node file → node → budget → thresholds → findings → printout
pub(crate) fn run(arguments: &Print) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let budget = Budget::of(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let findings = findings::of(&file.node, &budget, &thresholds);
    super::print(&match arguments.format.into() {
        Format::Text => printout::check::text(&file.node, &budget, &thresholds, &findings),
        Format::Json => printout::json(&printout::check::View::of(
            &file.node,
            &budget,
            &thresholds,
            &findings,
        )),
    })?;
    let errors = findings
        .iter()
        .filter(|finding| finding.severity == Severity::Error)
        .count();
    match errors {
        0 => Ok(()),
        _ => Err(Failure::Refused(format!(
            "{}: {errors} of the findings forbid this node to work\n",
            file.path
        ))),
    }
}
