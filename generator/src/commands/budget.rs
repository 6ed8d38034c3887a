//! `millpond budget`: what each phase, each action and a sleeping day take.

use millpond::budget::Budget;
use millpond::node::NodeFile;
use millpond::printout::{self, Format};

use crate::cli::Print;
use crate::failure::Failure;

/// node file → node → budget → printout
pub(crate) fn run(arguments: &Print) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let budget = Budget::of(&file.node);
    super::print(&match arguments.format.into() {
        Format::Text => printout::budget::text(&budget),
        Format::Json => printout::json(&printout::budget::View::of(&file.node, &budget)),
    })
}
