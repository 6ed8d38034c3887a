//! `millpond log-plan`: what to log for each parameter to be known.

use millpond::log_plan::LogPlan;
use millpond::node::NodeFile;
use millpond::printout::{self, Format};

use crate::cli::LogPlan as Arguments;
use crate::failure::Failure;

/// node file → plan → printout
pub(crate) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let plan = LogPlan::of(&file.node, arguments.within / 100.0);
    super::print(&match arguments.format.into() {
        Format::Text => printout::log_plan::text(&file.node.name, &plan),
        Format::Json => printout::json(&printout::log_plan::View::of(&file.node.name, &plan)),
    })
}
