//! `millpond compare`: which constants move between two node files, and why.

use millpond::comparison::compare;
use millpond::node::NodeFile;
use millpond::printout::{self, Format};

use crate::cli::Compare;
use crate::failure::Failure;

/// two node files → constants of each → differences → printout
pub(crate) fn run(arguments: &Compare) -> Result<(), Failure> {
    let old = NodeFile::load(&arguments.old)?;
    let new = NodeFile::load(&arguments.new)?;
    let comparison = compare(&old, &new).map_err(|refusal| Failure::Refused(format!("{refusal}\n")))?;
    super::print(&match arguments.format.into() {
        Format::Text => printout::compare::text(&comparison),
        Format::Json => printout::json(&printout::compare::View::of(&old.path, &new.path, &comparison)),
    })
}
