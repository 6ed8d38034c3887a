//! `millpond thresholds`: the thresholds and what each is made of.

use millpond::node::NodeFile;
use millpond::printout::{self, Format};
use millpond::thresholds::Thresholds;

use crate::cli::Print;
use crate::failure::Failure;

/// node file → node → thresholds → printout
pub(crate) fn run(arguments: &Print) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let thresholds = Thresholds::of(&file.node);
    super::print(&match arguments.format.into() {
        Format::Text => printout::thresholds::text(&thresholds),
        Format::Json => printout::json(&printout::thresholds::View::of(&file.node, &thresholds)),
    })
}
