//! `millpond lifetime`: threshold and time in the dark over temperature and age.

use millpond::lifetime::{self, Lifetime};
use millpond::node::NodeFile;
use millpond::printout::lifetime::{Shown, View, YEAR_S, text};
use millpond::printout::{self, Format};
use millpond::units::*;

use crate::cli;
use crate::failure::Failure;

/// node file → the node at ages and temperatures → outlooks, constants of both → printout
pub(crate) fn run(arguments: &cli::Lifetime) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let life = match (arguments.endurance, arguments.at) {
        (Some(endurance), Some(at)) => lifetime::life(endurance, at, arguments.mean),
        _ => seconds(arguments.life * YEAR_S),
    };
    let after = seconds(arguments.after * YEAR_S).min(life);
    let regenerated = lifetime::regenerated(&file, after / life)
        .map_err(|refusal| Failure::Refused(format!("{refusal}\n")))?;
    let shown = Shown {
        name: &file.node.name,
        lifetime: &Lifetime::of(&file.node),
        life,
        after,
        regenerated: &regenerated,
    };
    super::print(&match arguments.format.into() {
        Format::Text => text(&shown),
        Format::Json => printout::json(&View::of(&shown)),
    })
}
