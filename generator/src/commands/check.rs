//! `millpond check`: everything there is to say about a node before its constants are written.

use millpond::budget::Budget;
use millpond::findings::{self, Finding, Severity};
use millpond::income::Income;
use millpond::node::{Node, NodeFile, Pace};
use millpond::plan::made::Made;
use millpond::plan::rates::{self, Rates};
use millpond::plan::typical::Typical;
use millpond::policy;
use millpond::printout::survival::Dark;
use millpond::printout::{self, Format};
use millpond::survival::{Corner, Survival};
use millpond::thresholds::Thresholds;
use millpond::visible::visible;

use crate::cli::Print;
use crate::failure::Failure;

/// node file → node → budget → thresholds → findings → printout
pub(crate) fn run(arguments: &Print) -> Result<(), Failure> {
    let file = NodeFile::load(&arguments.node)?;
    let budget = Budget::of(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let findings = findings::of(&file.node, &budget, &thresholds);
    let rates = rates(&file.node, &thresholds).unwrap_or(Rates::NONE);
    let in_the_dark = in_the_dark(&file.node, &thresholds, &findings);
    super::print(&match arguments.format.into() {
        Format::Text => format!(
            "{}\n{}{}",
            printout::check::text(&file.node, &budget, &thresholds, &findings),
            printout::pace::text(&rates),
            in_the_dark.map_or(String::new(), |dark| dark.text())
        ),
        Format::Json => printout::json(&printout::check::View::of(
            &file.node,
            &budget,
            &thresholds,
            &findings,
            printout::pace::View::of(&rates),
            in_the_dark,
        )),
    })?;
    let errors = findings
        .iter()
        .filter(|finding| finding.severity == Severity::Error)
        .count();
    match errors {
        0 => Ok(()),
        _ => Err(Failure::Refused(format!(
            "{}: {errors} of the findings {} this node to work\n",
            visible(&file.path),
            if errors == 1 { "forbids" } else { "forbid" }
        ))),
    }
}

/// How long the node lives in the dark; nothing of a node that cannot work.
fn in_the_dark(node: &Node, thresholds: &Thresholds, findings: &[Finding]) -> Option<Dark> {
    let works = findings.iter().all(|finding| finding.severity != Severity::Error);
    works.then(|| Dark::of(&Survival::of(node, thresholds, Corner::Worst)))
}

/// The pace of the node as its node file asks for it; a plan with the usual settings, since tuning takes seconds.
fn rates(node: &Node, thresholds: &Thresholds) -> Option<Rates> {
    let policy = policy::policy(node, thresholds).ok()?;
    match (node.policy.pace, Income::of(&node.harvest.source)) {
        (Pace::Planned, Some(income)) => {
            let typical = Typical::of(node, thresholds)?;
            let made = Made::usual(node, thresholds)?;
            Some(rates::planned(node, &typical, &made, &income))
        }
        _ => Some(rates::even(node, &policy)),
    }
}
