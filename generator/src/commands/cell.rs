//! `millpond cell`: what the bench discharge of one capacitor says.

use millpond::cell::Cell;
use millpond::printout::{self, Format};

use crate::cli;
use crate::failure::Failure;

/// bench discharge → cell → printout
pub(crate) fn run(arguments: &cli::Cell) -> Result<(), Failure> {
    let cell = Cell::load(&arguments.discharge, arguments.current, arguments.rated)?;
    super::print(&match arguments.format.into() {
        Format::Text => printout::cell::text(&cell),
        Format::Json => printout::json(&printout::cell::View::of(&cell)),
    })
}
