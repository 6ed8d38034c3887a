//! `millpond sensitivity`: which inputs move the threshold and the time in the dark.

use millpond::node::NodeFile;
use millpond::printout::{self, Format};
use millpond::sensitivity;

use crate::cli::Sensitivity;
use crate::failure::Failure;

/// node file → the node with each input changed → outlooks → printout
pub(crate) fn run(arguments: &Sensitivity) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let found = sensitivity::of(&file);
    let rows = arguments.rows as usize;
    super::print(&match arguments.format.into() {
        Format::Text => printout::sensitivity::text(&file.node.name, &found, rows),
        Format::Json => printout::json(&printout::sensitivity::View::of(&file.node.name, &found, rows)),
    })
}
