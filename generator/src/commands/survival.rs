//! `millpond survival`: how long the node lives in the dark, which light keeps it going, how soon it is back.

use millpond::findings;
use millpond::income::light::Light;
use millpond::node::{Node, NodeFile};
use millpond::printout::{self, Format};
use millpond::survival::{Corner, Recharge, Survival};
use millpond::thresholds::Thresholds;

use crate::cli::Survival as Arguments;
use crate::failure::Failure;

/// node file → node → thresholds → survival → printout
pub(crate) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let node = &file.node;
    let thresholds = Thresholds::of(node);
    let light = light(node, arguments.light)?;
    let typical = Survival::of(node, &thresholds, Corner::Typical);
    let worst = Survival::of(node, &thresholds, Corner::Worst);
    let recharge = light.and_then(|light| Recharge::of(node, &thresholds, light));
    let starting = findings::starting(node, &thresholds);
    super::print(&match arguments.format.into() {
        Format::Text => {
            printout::survival::text(node, &typical, &worst, recharge.as_ref(), starting.as_ref())
        }
        Format::Json => printout::json(&printout::survival::View::of(
            node,
            &typical,
            &worst,
            recharge.as_ref(),
            starting.as_ref(),
        )),
    })
}

/// The light that was asked for, or what is typical of the source; nothing for a trace.
pub(super) fn light(node: &Node, asked: Option<Light>) -> Result<Option<Light>, Failure> {
    let Some(light) = asked else {
        return Ok(Light::typical(&node.harvest.source));
    };
    match light.power(&node.harvest.source) {
        Some(_) => Ok(Some(light)),
        None => Err(Failure::Unusable(format!(
            "--light {light}: the source of {} lives on other light; give a power, or W/m2 for a solar module, lx for a cell indoors",
            node.name
        ))),
    }
}
